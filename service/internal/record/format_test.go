package record

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestSHA256Vectors holds the hash to its standard: FIPS 180-4, NIST example values.
func TestSHA256Vectors(t *testing.T) {
	for in, want := range map[string]string{
		"":    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
		"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
		strings.Repeat("a", 1_000_000):                             "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
	} {
		got := hashOf([]byte(in[:len(in)/2]), []byte(in[len(in)/2:]))
		assert.Equal(t, want, hex.EncodeToString(got[:]), "hashOf(%.20q) in two halves", in)
	}
}

// vectors hold the format: heads and hashes made with Python 3.11.7 (struct, hashlib) from the drawing in the package
// comment, not with this package. They may never change; a new format gets vectors of its own.
var vectors = []struct {
	name  string
	entry Entry
	head  string
	hash  string
}{
	{"first and empty", Entry{Chain: "service", Number: 1, Time: time.Unix(0, 0), Index: Index{Kind: "service"}},
		"4b43453100000007736572766963650000000000000001000000000000000000000000000000000000000000000000000000000000000000000000000000000000000007736572766963650000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000",
		"16606fe2303506bd5e8ef34d38c18336c2c5ef8c549a6bab78c5f18f060cfdc9"},
	{"second and full", Entry{Chain: "service", Number: 2, Previous: unhex("16606fe2303506bd5e8ef34d38c18336c2c5ef8c549a6bab78c5f18f060cfdc9"),
		Time: time.Unix(0, 1795608000123456789), Body: []byte("invented body"), Index: Index{Kind: "asked", Rig: "rig-ä", Asker: "tester",
			Request: Request{ID: "q-1", Digest: sha256.Sum256([]byte("question"))}, LeaveIDs: []string{"permit-1", "lock-2"}, Verdict: "deny",
			RuleIDs: []string{"sky/floor"}, Sentence: "Zu tief: 3° below."}},
		"4b4345310000000773657276696365000000000000000216606fe2303506bd5e8ef34d38c18336c2c5ef8c549a6bab78c5f18f060cfdc918eb47f66b354d15000000000561736b6564000000067269672dc3a40000000674657374657200000003712d311f5087db919ced5c123c7f507d3fcce818cb0cf6e77c2f95a8a35e951e03fdb900000002000000087065726d69742d31000000066c6f636b2d320000000464656e790000000100000009736b792f666c6f6f72000000135a7520746965663a2033c2b02062656c6f772e000000000000000d",
		"6fb6f3ce258cda68c911a2858c7a59406a513354a702139cd9dc4a68becf69cb"},
	{"state, highest number, before 1970", Entry{Chain: "pier", Number: math.MaxUint64, Previous: unhex("000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f"),
		Time: time.Unix(0, -1), State: true, Body: []byte{0, 255}, Index: Index{Kind: "state", Sentence: "s"}},
		"4b4345310000000470696572ffffffffffffffff000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1fffffffffffffffff01000000057374617465000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000001730000000000000002",
		"ed2cef255ae2e027c84bef7e13222e5bbd6bf06e0b8b69df9ddb74a8f4ebf05d"},
}

func unhex(s string) (h Hash) {
	b, err := hex.DecodeString(s)
	if err != nil || copy(h[:], b) != len(h) {
		panic("a test's hash is not 64 hex digits: " + s)
	}
	return h
}

func TestFormatVectors(t *testing.T) {
	for _, v := range vectors {
		t.Run(v.name, func(t *testing.T) {
			head := encodeHead(v.entry)
			require.Equal(t, v.head, hex.EncodeToString(head))
			hash := hashOf(head, v.entry.Body)
			assert.Equal(t, v.hash, hex.EncodeToString(hash[:]))
			back, body, err := decodeHead(head)
			require.NoError(t, err)
			assert.Equal(t, uint64(len(v.entry.Body)), body)
			want := v.entry
			want.Body, want.Time = nil, want.Time.UTC()
			assert.Equal(t, want, back)
		})
	}
}

func TestHeadCutAnywhereIsRefused(t *testing.T) {
	for _, v := range vectors {
		head := encodeHead(v.entry)
		for n := range head {
			_, _, err := decodeHead(head[:n])
			require.ErrorIs(t, err, ErrWrong, "%s cut to %d of %d bytes", v.name, n, len(head))
		}
		_, _, err := decodeHead(append(head, 0))
		require.ErrorIs(t, err, ErrWrong, "%s with a byte more", v.name)
	}
}

// TestFieldsCannotTradeBytes: no two entries have the same bytes, wherever text moves from one field to the next.
func TestFieldsCannotTradeBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawEntry(t, "a"), drawEntry(t, "b")
		ha, hb := encodeHead(a), encodeHead(b)
		back, _, err := decodeHead(ha)
		require.NoError(t, err)
		require.Equal(t, a, back)
		require.Equal(t, string(ha) == string(hb), assert.ObjectsAreEqual(a, b))
	})
}

func drawEntry(t *rapid.T, label string) Entry {
	text := rapid.StringMatching(`[ab]{0,2}`)
	list := func(name string) []string {
		if l := rapid.SliceOfN(text, 0, 2).Draw(t, label+name); len(l) > 0 {
			return l
		}
		return nil
	}
	return Entry{Chain: text.Draw(t, label), Number: rapid.Uint64().Draw(t, label), Time: time.Unix(0, rapid.Int64().Draw(t, label)).UTC(), State: rapid.Bool().Draw(t, label),
		Index: Index{Kind: text.Draw(t, label), Rig: text.Draw(t, label), Asker: text.Draw(t, label), Request: Request{ID: text.Draw(t, label)},
			LeaveIDs: list("leaves"), Verdict: text.Draw(t, label), RuleIDs: list("rules"), Sentence: text.Draw(t, label)}}
}

func FuzzDecodeHead(f *testing.F) {
	for _, v := range vectors {
		f.Add(encodeHead(v.entry))
	}
	f.Add([]byte("KCE1\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		e, body, err := decodeHead(b)
		if err != nil {
			return
		}
		again := encodeHead(e)
		require.Equal(t, b[:len(b)-8], again[:len(again)-8], "what decodes must encode to the same bytes")
		require.Equal(t, string(b[len(b)-8:]), string(appendUint64(nil, body)))
	})
}

func appendUint64(b []byte, v uint64) []byte {
	for shift := 56; shift >= 0; shift -= 8 {
		b = append(b, byte(v>>shift))
	}
	return b
}

// TestLongListsOfShortTexts are read: each text may take as little as its length.
func TestLongListsOfShortTexts(t *testing.T) {
	e := Entry{Chain: "c", Number: 1, Time: time.Unix(0, 0).UTC(), Index: Index{Kind: "k", LeaveIDs: make([]string, 1000), RuleIDs: make([]string, 1000)}}
	back, _, err := decodeHead(encodeHead(e))
	require.NoError(t, err)
	assert.Equal(t, e, back)
}

// TestBodyOfAnotherLength than the head says is refused, though the hash covers both.
func TestBodyOfAnotherLength(t *testing.T) {
	e := Entry{Chain: "c", Number: 1, Time: time.Unix(0, 0), Index: Index{Kind: "k"}, Body: []byte("body")}
	row := toRow(&e, nil)
	_, err := fromRow(row, true)
	require.NoError(t, err)
	longer := e
	longer.Body = []byte("body and more")
	row.Head = encodeHead(longer)
	row.Hash = hashOf(row.Head, row.Body)
	_, err = fromRow(row, true)
	require.ErrorIs(t, err, ErrWrong)
}

// TestHeadsOfAnotherMakeAreRefused: unknown flags, text that is none, and a list that says that it is longer than the entry.
func TestHeadsOfAnotherMakeAreRefused(t *testing.T) {
	e := Entry{Chain: "c", Number: 1, Time: time.Unix(0, 0), Index: Index{Kind: "k"}}
	good := encodeHead(e)
	flags := 4 + 4 + 1 + 8 + 32 + 8 // magic, chain, number, previous, time
	list := flags + 1 + 4 + 1 + 4 + 4 + 4 + 32
	for name, c := range map[string]struct {
		at   int
		put  []byte
		says string
	}{
		"flags 2":        {flags, []byte{2}, "flags that this format does not know"},
		"flags 255":      {flags, []byte{255}, "flags that this format does not know"},
		"no UTF-8":       {8, []byte{0xff}, "a text that is not UTF-8"},
		"endless list":   {list, []byte{255, 255, 255, 255}, "a list longer than the entry"},
		"list too long":  {list, []byte{0, 0, 0, 6}, "a list longer than the entry"}, // 20 bytes are left, and the shortest text has 4
		"list takes all": {list, []byte{0, 0, 0, 5}, "cut short"},
	} {
		bad := append([]byte(nil), good...)
		copy(bad[c.at:], c.put)
		_, _, err := decodeHead(bad)
		require.ErrorIs(t, err, ErrWrong, name)
		assert.ErrorContains(t, err, c.says, name)
	}
	twice := append([]byte(nil), good...)
	twice[flags], twice[list] = 2, 255
	_, _, err := decodeHead(twice)
	require.ErrorContains(t, err, "flags that this format does not know", "the first fault is told, not what follows from it")
	state := append([]byte(nil), good...)
	state[flags] = 1
	back, _, err := decodeHead(state)
	require.NoError(t, err)
	assert.True(t, back.State)
}
