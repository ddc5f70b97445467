package record

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/store"
)

// The heads of all chains are kept in a file beside the record, so that a start notices where the record ends before what was answered: SQLite
// leaves out what follows a rotten page of its log, and an older copy is a whole record too. Text, a line for each chain by name, then their
// sum:
//
//	chain number hash
//	sum SHA-256
//
// It is no proof against somebody who writes both files, nor where both go back together; receipts are.
const headsSuffix = "-heads"

// ErrHeads is the class of what is kept of the heads and cannot be read.
var ErrHeads = errors.New("the file of the record's heads cannot be read")

// KeptHeads reads the heads that were kept beside the record at path, by chain; nil where there is no such file, and not nil where that holds none.
func KeptHeads(path string) ([]Place, error) {
	file, err := store.Named(path)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrHeads, err)
	}
	path = file
	content, err := store.ReadOrdinary(path + headsSuffix)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("%w: %w", ErrHeads, err)
	}
	lines, sum, _ := strings.Cut(string(content), "sum ")
	if sum != sumOf(lines) {
		return nil, fmt.Errorf("%w: %s does not fit its own sum", ErrHeads, path+headsSuffix)
	}
	out := []Place{}
	for line := range strings.Lines(lines) {
		var p Place
		var hash []byte
		if _, err := fmt.Sscanf(line, "%q %d %x\n", &p.Chain, &p.Number, &hash); err != nil || len(hash) != len(p.Hash) {
			return nil, fmt.Errorf("%w: %s: line %q is no head", ErrHeads, path+headsSuffix, line)
		}
		copy(p.Hash[:], hash)
		out = append(out, p)
	}
	return out, nil
}

func sumOf(lines string) string {
	sum := sha256.Sum256([]byte(lines))
	return hex.EncodeToString(sum[:]) + "\n"
}

// KeepHeads keeps the heads of what is flushed, where they changed since it did last. Nothing waits for it.
func (r *Record) KeepHeads() error {
	r.keeping.Lock()
	defer r.keeping.Unlock()
	var lines strings.Builder
	for _, p := range placesOf(r.Heads()) {
		fmt.Fprintf(&lines, "%q %d %x\n", p.Chain, p.Number, p.Hash)
	}
	content := lines.String()
	content += "sum " + sumOf(content)
	if content == r.kept {
		return nil
	}
	if err := replaceFile(r.path+headsSuffix, content); err != nil {
		return fmt.Errorf("keeping the heads of the record: %w", err)
	}
	r.kept = content
	return nil
}

// placesOf are heads in the order of their chains.
func placesOf(heads map[string]Head) []Place {
	var out []Place
	for name, h := range heads {
		out = append(out, Place{Chain: name, Number: h.Number, Hash: h.Hash})
	}
	slices.SortFunc(out, func(a, b Place) int { return strings.Compare(a.Chain, b.Chain) })
	return out
}

// replaceFile puts a file in the place of another so that, whenever power fails, one of the two is there.
func replaceFile(path, content string) error {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(content)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// Lacks returns those of some places that the record does not hold, in their order.
func (r *Record) Lacks(ctx context.Context, kept []Place) ([]Place, error) {
	st, err := r.open()
	if err != nil {
		return nil, err
	}
	var out []Place
	heads := r.Heads()
	for _, p := range kept {
		if heads[p.Chain] == (Head{Number: p.Number, Hash: p.Hash}) { // as it was read
			continue
		}
		switch _, err := holds(ctx, st, p); {
		case errors.Is(err, ErrLost):
			out = append(out, p)
		case err != nil:
			return nil, err
		}
	}
	return out, nil
}
