// Package record is the append-only, hash-chained account of every question, answer and event.
//
// It owns the format of an entry, one chain per group of rigs and the chain "service", the heads, the request ids that may
// be used once, the group commit, and verification. An append names the head that it was judged on and is refused if that
// is no longer the head; it returns at once, and Wait returns when the entry is on disk: who waits while nobody flushes does
// it himself, else the flusher does. A failed flush fails its batch and all appended behind it, and takes the record down
// until the file has been opened anew and verified. Bodies are opaque: what they mean, and folding them into state, is the
// owner's. Old entries read for ever: bytes are never re-encoded.
//
// Format 1 of an entry. Integers are big-endian; a text is its length in 4 bytes and that many bytes of UTF-8; a list is
// its count in 4 bytes and that many texts. Every field is of fixed size or carries its length, and the order is fixed, so
// that no two entries have the same bytes.
//
//	head  "KCE1"                          4 bytes, the format
//	      chain                           text
//	      number                          8 bytes, from 1
//	      previous                        32 bytes, the hash of number − 1; zero for number 1
//	      time                            8 bytes, signed, nanoseconds since 1970-01-01 UTC by the service's clock
//	      flags                           1 byte: 1 = state entry, else 0
//	      kind, rig, asker                3 texts
//	      request id                      text, empty where there is none
//	      request digest                  32 bytes, zero where there is no request id
//	      leave ids                       list: permits, sync leaves and locks that this entry made
//	      verdict                         text, empty where nothing was judged
//	      rule ids                        list: rules that held or denied
//	      sentence                        text, one line for a person
//	      length of the body              8 bytes
//	body  the owner's bytes
//
//	hash  SHA-256 (FIPS 180-4) over head and body
package record
