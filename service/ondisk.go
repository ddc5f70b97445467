package main

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/rig"
)

// Files are read at the start alone. Who looks at a rig is told which of its files are others on disk now; nothing of what they say now is taken
// up, no answer waits for the look, and no second look waits for the first, which a disk may hold up: it is told what the one before found.

// diskWatch holds what was read of the files that the rigs were made of. It may be asked by many at once.
type diskWatch struct {
	mu    sync.Mutex
	files []*diskFiles          // of each rig file, in order
	of    map[string]*diskFiles // by rig
	dir   string                // of the rig files; empty: they are on no disk
	there map[string]bool       // the names in it at the start
}

// diskFiles are the files that one rig was made of: its own, the facility's limits, and what it named beside it.
type diskFiles struct {
	mu    sync.Mutex
	all   []*diskFile
	found []string // at the last look
}

// diskFile is one file as it was read at the start, and as it was last found.
type diskFile struct {
	path   string
	sum    [sha256.Size]byte
	absent bool        // there was none
	seen   fs.FileInfo // nil: not looked at yet
	says   string      // how it differs; empty: not at all
}

// watchFiles notes what was and will be read of rig files from here on. One that is built in is on no disk.
func watchFiles(files []rigFile) *diskWatch {
	o := &diskWatch{of: map[string]*diskFiles{}}
	for i := range files {
		f, d := &files[i], &diskFiles{}
		o.files = append(o.files, d)
		if f.open == nil {
			continue
		}
		dir := filepath.Dir(f.name)
		if o.there == nil {
			o.dir, o.there = dir, map[string]bool{}
			for _, name := range yamlFiles(dir) {
				o.there[name] = true
			}
		}
		d.all = append(d.all, &diskFile{path: f.name, sum: sha256.Sum256(f.content)},
			&diskFile{path: filepath.Join(dir, limitsFile), sum: sha256.Sum256(f.limits), absent: f.limits == nil})
		f.open = d.noting(dir, f.open)
	}
	return o
}

// noting opens as open does, and notes what a file was when it was first opened.
func (d *diskFiles) noting(dir string, open rig.Opener) rig.Opener {
	return func(name string) ([]byte, error) {
		content, err := open(name)
		path := filepath.Join(dir, name)
		d.mu.Lock()
		defer d.mu.Unlock()
		if err == nil && !slices.ContainsFunc(d.all, func(f *diskFile) bool { return f.path == path }) {
			d.all = append(d.all, &diskFile{path: path, sum: sha256.Sum256(content)})
		}
		return content, err
	}
}

// serving says which rig came of which file; members are in the order of the files.
func (o *diskWatch) serving(members []decide.Member) {
	for i, m := range members {
		o.of[m.Rig.ID] = o.files[i]
	}
}

// changed says of each file of a rig that is not what it was when the service started how it differs.
func (o *diskWatch) changed(name string) []string {
	d := o.of[name]
	if d == nil {
		return nil
	}
	d.mu.Lock()
	all, found := slices.Clone(d.all), d.found
	d.mu.Unlock()
	if !o.mu.TryLock() { // one look at a time, however many ask: it may read a large mesh
		return found
	}
	defer o.mu.Unlock()
	var out []string
	for _, f := range all {
		f.look()
		if f.says != "" {
			out = append(out, f.path+" "+f.says)
		}
	}
	for _, name := range yamlFiles(o.dir) {
		if !o.there[name] && name != limitsFile { // that is a file of each rig, if there is none
			out = append(out, fmt.Sprintf("%s was not there when the service started, and is not served; the next start reads it, and is refused if it is faulty: check %[1]s tells", filepath.Join(o.dir, name)))
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.found = out
	return out
}

// yamlFiles are the names of a folder that a start takes for rig files or refuses; none where there is no folder, or it cannot be read.
func yamlFiles(dir string) []string {
	if dir == "" {
		return nil
	}
	listed, _ := os.ReadDir(dir) // what it read before an error counts
	var out []string
	for _, one := range listed {
		if ext := strings.ToLower(filepath.Ext(one.Name())); ext == ".yaml" || ext == ".yml" {
			out = append(out, one.Name())
		}
	}
	return out
}

// look reads the file where it is not what it was at the last look, by its time, size and identity.
func (f *diskFile) look() {
	info, err := os.Stat(f.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.seen, f.says = nil, ""
		if !f.absent {
			f.says = "is gone; what was read at the start is served"
		}
		return
	case err != nil:
		f.seen, f.says = nil, fmt.Sprintf("cannot be looked at (%v); %s", err, f.served())
		return
	case f.seen != nil && os.SameFile(info, f.seen) && info.ModTime().Equal(f.seen.ModTime()) && info.Size() == f.seen.Size():
		return
	}
	f.seen, f.says = info, ""
	content, err := beside(filepath.Dir(f.path))(filepath.Base(f.path))
	switch sum := sha256.Sum256(content); {
	case err != nil:
		f.seen, f.says = nil, fmt.Sprintf("cannot be read (%v); %s", err, f.served())
	case f.absent:
		f.says = "was not there when the service started, and is not served; start it anew to serve it"
	case sum != f.sum:
		f.says = fmt.Sprintf("is another one now (SHA-256 %x…, served is %x…); start the service anew to serve it", sum[:4], f.sum[:4])
	}
}

// served says what of the file is served.
func (f *diskFile) served() string {
	if f.absent {
		return "it was not there when the service started, and nothing of it is served"
	}
	return "what was read at the start is served"
}
