package faults

import (
	"context"
	"database/sql/driver"
	"fmt"
	"math/rand/v2"
	"net/url"
	"sync"

	"modernc.org/sqlite"
)

// sector is how much of a write a disk keeps or loses as one. Source: 512 bytes is the least that disks promise.
const sector = 512

// Op is what a Drive is asked to do.
type Op string

// What can fail.
const (
	Opening    Op = "open"
	Reading    Op = "read"
	Writing    Op = "write"
	Syncing    Op = "sync"
	Truncating Op = "truncate"
	Deleting   Op = "delete"
)

// Fate is what becomes of one operation.
type Fate int

// Fates.
const (
	Works   Fate = iota
	Fails        // an I/O error; nothing was done
	NoSpace      // the disk is full; nothing was done
	Dies         // the process ends before it is done
	DiesAt       // the process ends just after it was done
	Lies         // a sync that says it worked and did nothing
)

// Drive is a disk in memory that holds the files of one store, under SQLite itself: what was written and not synced is lost with the
// power, or some sectors of it are. It stands in for a machine's disk where a thousand crashes have to take seconds; what real file
// systems do is the power-cut test's business. New and deleted names are durable at once. Safe for concurrent use.
type Drive struct {
	// Fate, where set, decides every operation. It is called with no lock held and may wait: that is a slow disk.
	Fate func(op Op, file string) Fate

	vfs   *vfs
	mu    sync.Mutex
	files map[string]*image
	run   *run
}

// run is one process that has the disk open. Once it is dead nothing that it does reaches the disk.
type run struct {
	dead   bool
	shared map[*image]*shared
}

// image is one file.
type image struct {
	now     []byte   // as the kernel shows it
	synced  []byte   // as a power cut leaves it for sure
	pending []change // since the last sync, in order
}

// change is one write, or where data is nil a cut to a size.
type change struct {
	at   int64
	data []byte
}

// NewDrive makes an empty disk and makes it known to SQLite; Close takes it away again.
func NewDrive() (*Drive, error) {
	d := &Drive{files: map[string]*image{}, run: newRun()}
	var err error
	d.vfs, err = register(d)
	return d, err
}

func newRun() *run { return &run{shared: map[*image]*shared{}} }

// Close takes the disk away. Every store on it must be closed.
func (d *Drive) Close() error { return d.vfs.unregister() }

// Wrap is store.Options.Wrap: it opens the same file on this disk. (The store looks for a file at its path with the operating
// system, too: an empty one has to stand there.)
func (d *Drive) Wrap(path string) func(driver.Connector) driver.Connector {
	return func(driver.Connector) driver.Connector { return onDrive{d, path} }
}

type onDrive struct {
	drive *Drive
	path  string
}

// Connect opens a connection.
func (c onDrive) Connect(ctx context.Context) (driver.Conn, error) {
	base, err := sqlite.NewConnector((&url.URL{Scheme: "file", Opaque: (&url.URL{Path: c.path}).EscapedPath(), RawQuery: "mode=rwc&vfs=" + c.drive.vfs.name}).String())
	if err != nil {
		return nil, fmt.Errorf("opening %s in memory: %w", c.path, err)
	}
	return base.Connect(ctx)
}

// Driver is the driver's own.
func (c onDrive) Driver() driver.Driver { return &sqlite.Driver{} }

// Kill ends the process that has the disk open: what it wrote stays, synced or not.
func (d *Drive) Kill() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.run.dead = true
}

// Dead tells whether the process that had the disk open was ended.
func (d *Drive) Dead() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.run.dead
}

// Start lets another process open the disk, after Kill.
func (d *Drive) Start() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.run.dead = true
	d.run = newRun()
}

// CutPower ends the process and loses what was not synced, but for sectors that happened to reach the disk: a share of them, by lot.
func (d *Drive) CutPower(rng *rand.Rand, share float64, names []string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.run.dead = true
	for _, name := range names { // in the order given, so that a seed repeats
		if f := d.files[name]; f != nil {
			f.cut(rng, share)
		}
	}
}

// Zero fills an empty file with so many zeros, durable at once: as the store does with its log on a disk of the kernel's, and cannot here. It
// tells whether there was such a file; one that holds something stays as it is.
func (d *Drive) Zero(name string, size int64) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	f := d.files[name]
	if f == nil || len(f.now) > 0 {
		return false
	}
	f.now, f.synced, f.pending = make([]byte, size), make([]byte, size), nil
	return true
}

// Files returns the names of the files of one record, in order.
func Files(path string) []string { return []string{path, path + "-wal", path + "-journal"} }

// cut leaves what was synced and some of what was not.
func (f *image) cut(rng *rand.Rand, share float64) {
	for _, c := range f.pending {
		if c.data == nil {
			if rng.Float64() < share {
				f.synced = resized(f.synced, c.at)
			}
			continue
		}
		for from := 0; from < len(c.data); {
			to := min(len(c.data), from+sector-int((c.at+int64(from))%sector))
			if rng.Float64() < share {
				f.synced = put(f.synced, c.at+int64(from), c.data[from:to])
			}
			from = to
		}
	}
	f.pending = nil
	f.now = append([]byte(nil), f.synced...)
}

// sync makes what was written durable.
func (f *image) sync() {
	for _, c := range f.pending {
		if c.data == nil {
			f.synced = resized(f.synced, c.at)
		} else {
			f.synced = put(f.synced, c.at, c.data)
		}
	}
	f.pending = nil
}

func (f *image) write(b []byte, at int64) {
	c := change{at, append([]byte{}, b...)}
	f.now = put(f.now, at, b)
	f.pending = append(f.pending, c)
}

func (f *image) truncate(size int64) {
	f.now = resized(f.now, size)
	f.pending = append(f.pending, change{at: size})
}

// put writes into a file, which grows where it must.
func put(file []byte, at int64, b []byte) []byte {
	if end := at + int64(len(b)); end > int64(len(file)) {
		file = resized(file, end)
	}
	copy(file[at:], b)
	return file
}

func resized(file []byte, size int64) []byte {
	if size <= int64(len(file)) {
		return file[:size]
	}
	if size <= int64(cap(file)) {
		old := len(file)
		file = file[:size]
		clear(file[old:])
		return file
	}
	return append(file, make([]byte, size-int64(len(file)))...)
}
