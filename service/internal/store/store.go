// Package store keeps rows of bytes in one SQLite file: durable when Commit returns, in order, each chain without a fork.
//
// It owns the file, its schema version, the settings on which durability rests, the lock that keeps a second service out,
// and the check that the file at the path is still the file that is open. It does not know what a row means: hashes, kinds
// and verdicts are bytes and words to it. Chaining, request ids and verification are the business of room record.
//
//	PATH         the database (header: application id "KCLR", user_version = Version)
//	PATH-wal     its write-ahead log: answered rows live here until they are moved into PATH
//	PATH-shm     its index, lost and rebuilt without harm
//	PATH-journal only while PATH is made: what was there before, until the log is in force
//	PATH-lock    empty; holds the lock of the one service that writes, and dies with its process
//
// What lies beside PATH goes by its name, so a symbolic link is followed before any of it is named, and a file of several names (hard links) is not
// opened to write. Where two names are not seen to be one (a file mounted in a second place) the lock on the file itself, on Linux, keeps the second out.
//
// A body is kept packed, where that makes it shorter (pack.go): what the hash of an entry covers is the body as it was given, so that
// what comes back is proven whatever it was kept as. What entries are found by follows some way behind them (mark.go). A file of version 1, whose
// bodies are all as given, or 2, whose entries are indexed themselves, is read as it is, and made one of version 3 by the first service that
// opens it; programs that know older versions alone refuse it from then on.
//
// Every connection sets and reads back WAL and synchronous FULL, and the one that writes has its log looked at; below that Open
// refuses, because then an answered row can vanish with the power. A commit that failed leaves the file in an unknown state:
// Close, Open again (which moves the whole log into the database with a sync of its own), and look at the heads.
package store

import "time"

// Version is the schema version that this program writes and the newest that it reads.
const Version = 3

// applicationID marks the file as ours: "KCLR" in ASCII.
const applicationID = 0x4b434c52

// HashSize is the length of a hash in bytes (SHA-256, FIPS 180-4).
const HashSize = 32

// Hash is the hash of a row, opaque here.
type Hash [HashSize]byte

// Place names one row and, by its hash, everything before it in its chain.
type Place struct {
	Chain  string
	Number uint64 // from 1; 0: before the first
	Hash   Hash   // zero for number 0
}

// Index is what rows are found by. It repeats what the row's head says; record compares the two.
type Index struct {
	TimeNanos int64 // since 1970-01-01 UTC
	Kind      string
	Rig       string
	Asker     string
	RequestID string // unique in the file; empty: none
	Verdict   string
	LeaveIDs  []string // made by this row
	RuleIDs   []string // that held or denied
}

// Row is one entry as bytes. Head and Body together are what the hash covers.
type Row struct {
	Place
	Index
	Sequence int64 // order over all chains, from 1; given by the store
	State    bool  // a state row: the fold of the chain may start here
	Previous Hash
	Head     []byte
	Body     []byte // nil where a listing left it out

	kept    []byte // the body as the file keeps it; nil: not worked out yet (Packer)
	packing int64  // how
}

// Filter says which rows; an empty part fits all, the parts are joined by "and".
type Filter struct {
	Chains   []string
	Rigs     []string
	Kinds    []string
	Verdicts []string
	RuleIDs  []string // any of these
	From     time.Time
	Before   time.Time
}
