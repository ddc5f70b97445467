package faults

import (
	"errors"
	"fmt"
	"sync"
	"unsafe"

	"modernc.org/libc"
	engine "modernc.org/sqlite/lib"
)

// vfs makes a Drive known to SQLite. Its tables stand in SQLite's own memory; the methods in them are closures that hold the drive, so the
// vfs keeps all of them alive. Derived from SQLite's own description of sqlite3_vfs and sqlite3_io_methods.
type vfs struct {
	drive   *Drive
	name    string
	tls     *libc.TLS
	table   uintptr // an engine.Tsqlite3_vfs
	methods uintptr // an engine.Tsqlite3_io_methods
	funcs   []any   // what the tables point to
	cname   uintptr
	mu      sync.Mutex
	open    map[uintptr]*handle // by the address of SQLite's file
	memory  []uintptr           // freed at the end: the tables, and the indexes of logs
}

// handle is one open file.
type handle struct {
	run   *run
	name  string
	file  *image
	level int32 // of lock
	locks [slots]int8
}

// slots is how many locks the index of a log has. Source: SQLITE_SHM_NLOCK.
const slots = 8

// shared is what the handles of one file in one process share.
type shared struct {
	handles []*handle
	regions []uintptr
}

// at is what stands at an address that SQLite gave.
func at[T any](address uintptr) *T { return *(**T)(unsafe.Pointer(&address)) }

// pointer stores a function where SQLite looks for one.
func pointer[F any](v *vfs, to *uintptr, f F) {
	keep := &f
	v.funcs = append(v.funcs, keep)
	*to = *(*uintptr)(unsafe.Pointer(keep))
}

func register(d *Drive) (*vfs, error) {
	v := &vfs{drive: d, tls: libc.NewTLS(), open: map[uintptr]*handle{}}
	v.name = fmt.Sprintf("drive-%p", d)
	var err error
	if v.cname, err = libc.CString(v.name); err != nil {
		return nil, err
	}
	v.table, v.methods = v.calloc(unsafe.Sizeof(engine.Tsqlite3_vfs{})), v.calloc(unsafe.Sizeof(engine.Tsqlite3_io_methods{}))
	if v.table == 0 || v.methods == 0 {
		return nil, errors.New("making a disk in memory: no memory")
	}
	*at[engine.Tsqlite3_vfs](v.table) = engine.Tsqlite3_vfs{FiVersion: 1, FszOsFile: int32(unsafe.Sizeof(engine.Tsqlite3_file{})), FmxPathname: 1024, FzName: v.cname}
	at[engine.Tsqlite3_io_methods](v.methods).FiVersion = 2
	v.names()
	v.contents()
	v.locking()
	if rc := engine.Xsqlite3_vfs_register(v.tls, v.table, 0); rc != engine.SQLITE_OK {
		return nil, fmt.Errorf("making a disk in memory known to SQLite: code %d", rc)
	}
	return v, nil
}

// calloc takes memory from SQLite's own, until the end; 0: there is none.
func (v *vfs) calloc(size uintptr) uintptr {
	p := libc.Xcalloc(v.tls, 1, libc.Tsize_t(size))
	if p != 0 {
		v.mu.Lock()
		defer v.mu.Unlock()
		v.memory = append(v.memory, p)
	}
	return p
}

func (v *vfs) unregister() error {
	v.mu.Lock()
	left := len(v.open)
	v.mu.Unlock()
	if left > 0 {
		return fmt.Errorf("%d files of the disk in memory are still open", left)
	}
	engine.Xsqlite3_vfs_unregister(v.tls, v.table)
	for _, p := range append(v.memory, v.cname) {
		libc.Xfree(v.tls, p)
	}
	v.tls.Close()
	return nil
}

// names are the methods on names of files.
func (v *vfs) names() {
	t := at[engine.Tsqlite3_vfs](v.table)
	pointer(v, &t.FxOpen, v.xOpen)
	pointer(v, &t.FxDelete, func(_ *libc.TLS, _, name uintptr, _ int32) int32 {
		if rc := v.fate(v.current(), Deleting, libc.GoString(name), engine.SQLITE_IOERR_DELETE, func() {
			delete(v.drive.files, libc.GoString(name))
		}); rc != engine.SQLITE_OK {
			return rc
		}
		return engine.SQLITE_OK
	})
	pointer(v, &t.FxAccess, func(_ *libc.TLS, _, name uintptr, flags int32, out uintptr) int32 {
		v.drive.mu.Lock()
		defer v.drive.mu.Unlock()
		f := v.drive.files[libc.GoString(name)]
		there := f != nil && (len(f.now) > 0 || flags != engine.SQLITE_ACCESS_EXISTS)
		*at[int32](out) = libc.Bool32(there)
		return engine.SQLITE_OK
	})
	pointer(v, &t.FxFullPathname, func(_ *libc.TLS, _, name uintptr, size int32, out uintptr) int32 {
		s := libc.GoString(name)
		if len(s)+1 > int(size) {
			return engine.SQLITE_CANTOPEN
		}
		b := unsafe.Slice(at[byte](out), size)
		b[copy(b, s)] = 0
		return engine.SQLITE_OK
	})
	pointer(v, &t.FxRandomness, func(_ *libc.TLS, _ uintptr, size int32, out uintptr) int32 {
		clear(unsafe.Slice(at[byte](out), size))
		return size
	})
	pointer(v, &t.FxSleep, func(_ *libc.TLS, _ uintptr, micros int32) int32 { return micros })
	pointer(v, &t.FxCurrentTime, func(_ *libc.TLS, _, out uintptr) int32 {
		*at[float64](out) = 2461000.5
		return engine.SQLITE_OK
	})
	pointer(v, &t.FxGetLastError, func(_ *libc.TLS, _ uintptr, _ int32, _ uintptr) int32 { return 0 })
}

// current is the process that has the disk now.
func (v *vfs) current() *run {
	v.drive.mu.Lock()
	defer v.drive.mu.Unlock()
	return v.drive.run
}

// fate does an operation of a process if the orders and the process's life allow it; failed is its code of an I/O error. do has the
// drive's lock.
func (v *vfs) fate(r *run, op Op, name string, failed int32, do func()) int32 {
	d := v.drive
	fate := Works
	if d.Fate != nil {
		d.mu.Lock()
		dead := r.dead
		d.mu.Unlock()
		if !dead {
			fate = d.Fate(op, name)
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case r.dead:
		return failed
	case fate == Dies:
		r.dead = true
		return failed
	case fate == Fails:
		return failed
	case fate == NoSpace:
		return engine.SQLITE_FULL
	case fate == Lies:
		return engine.SQLITE_OK
	}
	do()
	if fate == DiesAt {
		r.dead = true
	}
	return engine.SQLITE_OK
}

func (v *vfs) xOpen(_ *libc.TLS, _, zName, pFile uintptr, flags int32, out uintptr) int32 {
	*at[engine.Tsqlite3_file](pFile) = engine.Tsqlite3_file{}
	h := &handle{run: v.current(), file: &image{}}
	if zName != 0 {
		h.name = libc.GoString(zName)
	}
	there := true
	rc := v.fate(h.run, Opening, h.name, engine.SQLITE_CANTOPEN, func() {
		if h.name == "" {
			return
		}
		if f := v.drive.files[h.name]; f != nil {
			h.file = f
		} else if there = flags&engine.SQLITE_OPEN_CREATE != 0; there {
			v.drive.files[h.name] = h.file
		}
	})
	if rc != engine.SQLITE_OK || !there {
		return engine.SQLITE_CANTOPEN
	}
	v.drive.mu.Lock()
	s := h.run.shared[h.file]
	if s == nil {
		s = &shared{}
		h.run.shared[h.file] = s
	}
	s.handles = append(s.handles, h)
	v.drive.mu.Unlock()
	v.mu.Lock()
	v.open[pFile] = h
	v.mu.Unlock()
	if out != 0 {
		*at[int32](out) = flags
	}
	at[engine.Tsqlite3_file](pFile).FpMethods = v.methods
	return engine.SQLITE_OK
}

// of is the open file at an address.
func (v *vfs) of(pFile uintptr) *handle {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.open[pFile]
}

// contents are the methods on what is in a file.
func (v *vfs) contents() {
	m := at[engine.Tsqlite3_io_methods](v.methods)
	pointer(v, &m.FxClose, func(_ *libc.TLS, pFile uintptr) int32 {
		h := v.of(pFile)
		v.mu.Lock()
		delete(v.open, pFile)
		v.mu.Unlock()
		v.drive.mu.Lock()
		defer v.drive.mu.Unlock()
		h.run.shared[h.file].drop(h)
		return engine.SQLITE_OK
	})
	pointer(v, &m.FxRead, func(_ *libc.TLS, pFile, buf uintptr, size int32, from int64) int32 {
		h, short := v.of(pFile), false
		b := unsafe.Slice(at[byte](buf), size)
		rc := v.fate(h.run, Reading, h.name, engine.SQLITE_IOERR_READ, func() {
			n := 0
			if from < int64(len(h.file.now)) {
				n = copy(b, h.file.now[from:])
			}
			clear(b[n:])
			short = n < len(b)
		})
		if rc == engine.SQLITE_OK && short {
			return engine.SQLITE_IOERR_SHORT_READ
		}
		return rc
	})
	pointer(v, &m.FxWrite, func(_ *libc.TLS, pFile, buf uintptr, size int32, from int64) int32 {
		h := v.of(pFile)
		return v.fate(h.run, Writing, h.name, engine.SQLITE_IOERR_WRITE, func() { h.file.write(unsafe.Slice(at[byte](buf), size), from) })
	})
	pointer(v, &m.FxTruncate, func(_ *libc.TLS, pFile uintptr, size int64) int32 {
		h := v.of(pFile)
		return v.fate(h.run, Truncating, h.name, engine.SQLITE_IOERR_TRUNCATE, func() { h.file.truncate(size) })
	})
	pointer(v, &m.FxSync, func(_ *libc.TLS, pFile uintptr, _ int32) int32 {
		h := v.of(pFile)
		return v.fate(h.run, Syncing, h.name, engine.SQLITE_IOERR_FSYNC, h.file.sync)
	})
	pointer(v, &m.FxFileSize, func(_ *libc.TLS, pFile, out uintptr) int32 {
		h := v.of(pFile)
		v.drive.mu.Lock()
		defer v.drive.mu.Unlock()
		*at[int64](out) = int64(len(h.file.now))
		return engine.SQLITE_OK
	})
	pointer(v, &m.FxFileControl, func(*libc.TLS, uintptr, int32, uintptr) int32 { return engine.SQLITE_NOTFOUND })
	pointer(v, &m.FxSectorSize, func(*libc.TLS, uintptr) int32 { return sector })
	pointer(v, &m.FxDeviceCharacteristics, func(*libc.TLS, uintptr) int32 { return engine.SQLITE_IOCAP_POWERSAFE_OVERWRITE })
}
