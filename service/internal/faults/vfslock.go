package faults

import (
	"slices"

	"modernc.org/libc"
	engine "modernc.org/sqlite/lib"
)

// locking are the methods by which connections keep out of each other's way: locks on the file, and the memory that holds the index of
// its log, with locks of its own. One process has the disk, so all of it is here.
func (v *vfs) locking() {
	m := at[engine.Tsqlite3_io_methods](v.methods)
	pointer(v, &m.FxLock, func(_ *libc.TLS, pFile uintptr, level int32) int32 {
		h := v.of(pFile)
		return v.locked(h, func(s *shared) bool { return s.lock(h, level) })
	})
	pointer(v, &m.FxUnlock, func(_ *libc.TLS, pFile uintptr, level int32) int32 {
		h := v.of(pFile)
		return v.locked(h, func(*shared) bool { h.level = min(h.level, level); return true })
	})
	pointer(v, &m.FxCheckReservedLock, func(_ *libc.TLS, pFile, out uintptr) int32 {
		h := v.of(pFile)
		return v.locked(h, func(s *shared) bool {
			held := slices.ContainsFunc(s.handles, func(o *handle) bool { return o.level >= engine.SQLITE_LOCK_RESERVED })
			*at[int32](out) = libc.Bool32(held)
			return true
		})
	})
	pointer(v, &m.FxShmMap, v.xShmMap)
	pointer(v, &m.FxShmLock, func(_ *libc.TLS, pFile uintptr, from, n, flags int32) int32 {
		h := v.of(pFile)
		return v.locked(h, func(s *shared) bool { return s.slot(h, int(from), int(n), flags) })
	})
	pointer(v, &m.FxShmBarrier, func(_ *libc.TLS, _ uintptr) {
		v.drive.mu.Lock() // a lock taken and given back orders memory
		defer v.drive.mu.Unlock()
	})
	pointer(v, &m.FxShmUnmap, func(_ *libc.TLS, pFile uintptr, _ int32) int32 {
		h := v.of(pFile)
		return v.locked(h, func(*shared) bool { h.locks = [slots]int8{}; return true })
	})
}

// locked does something with what the handles of a file share, false meaning that another is in the way.
func (v *vfs) locked(h *handle, do func(*shared) bool) int32 {
	v.drive.mu.Lock()
	defer v.drive.mu.Unlock()
	if !do(h.run.shared[h.file]) {
		return engine.SQLITE_BUSY
	}
	return engine.SQLITE_OK
}

// drop forgets a handle; with the last one goes the index of the log.
func (s *shared) drop(h *handle) {
	s.handles = slices.DeleteFunc(s.handles, func(o *handle) bool { return o == h })
	if len(s.handles) == 0 {
		s.regions = nil
	}
}

// most is the strongest lock that the others hold.
func (s *shared) most(h *handle) int32 {
	var most int32
	for _, o := range s.handles {
		if o != h {
			most = max(most, o.level)
		}
	}
	return most
}

// lock takes a lock on the file, by the rules of SQLite's "File Locking And Concurrency", section 3.
func (s *shared) lock(h *handle, level int32) bool {
	others := s.most(h)
	switch {
	case h.level >= level:
		return true
	case level == engine.SQLITE_LOCK_SHARED:
		if others >= engine.SQLITE_LOCK_PENDING {
			return false
		}
	case level == engine.SQLITE_LOCK_RESERVED:
		if others >= engine.SQLITE_LOCK_RESERVED {
			return false
		}
	default:
		if others >= engine.SQLITE_LOCK_RESERVED {
			return false
		}
		if others >= engine.SQLITE_LOCK_SHARED {
			h.level = engine.SQLITE_LOCK_PENDING
			return false
		}
	}
	h.level = level
	return true
}

// slot takes or gives back locks of the log's index: 1 shared, -1 exclusive.
func (s *shared) slot(h *handle, from, n int, flags int32) bool {
	exclusive := flags&engine.SQLITE_SHM_EXCLUSIVE != 0
	for i := from; i < from+n; i++ {
		if flags&engine.SQLITE_SHM_UNLOCK != 0 {
			h.locks[i] = 0
			continue
		}
		for _, o := range s.handles {
			if o != h && (o.locks[i] < 0 || exclusive && o.locks[i] > 0) {
				return false
			}
		}
	}
	if flags&engine.SQLITE_SHM_UNLOCK != 0 {
		return true
	}
	for i := from; i < from+n; i++ {
		h.locks[i] = 1
		if exclusive {
			h.locks[i] = -1
		}
	}
	return true
}

func (v *vfs) xShmMap(_ *libc.TLS, pFile uintptr, region, size, extend int32, out uintptr) int32 {
	h := v.of(pFile)
	v.drive.mu.Lock()
	defer v.drive.mu.Unlock()
	s := h.run.shared[h.file]
	for int(region) >= len(s.regions) && extend != 0 {
		p := v.calloc(uintptr(size))
		if p == 0 {
			return engine.SQLITE_NOMEM
		}
		s.regions = append(s.regions, p)
	}
	*at[uintptr](out) = 0
	if int(region) < len(s.regions) {
		*at[uintptr](out) = s.regions[region]
	}
	return engine.SQLITE_OK
}
