// Package faults makes what the service stands on fail on demand, for tests only: no other code may import it.
//
// A Disk stands between database/sql and the driver of a store. It counts the operations that could fail on a disk (begin,
// statements that write, commit, checkpoint, opening) and makes a chosen one fail, once or for good, before it was done or
// after; or holds one back until the test lets it go. It cannot tear a page or lose a synced write: that takes the power
// cut test, which works from outside the process, or a Drive.
//
// A Drive is a whole disk in memory under SQLite, which keeps sectors by lot when the power goes: as fast as memory, and the same again
// from the same seed.
//
// A Clock is a machine's clock of which somebody sets the wall hand while the monotonic one goes on.
//
// A Tamper works from outside on a whole process, by strace: it fails, delays or falsifies its n-th system call of a kind, or kills
// it there.
package faults

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"strings"
	"sync"
)

// ErrInjected is the class of every failure made here.
var ErrInjected = errors.New("injected fault")

// When says whether an operation fails before it was done or after, and how.
type When int

// The three.
const (
	Before When = iota // nothing was done
	After              // it was done, and the answer was lost
	Panics             // nothing was done, and the driver panics over it
)

// Disk is a set of orders to one store's driver. The zero value lets everything through. Safe for concurrent use.
type Disk struct {
	mu     sync.Mutex
	count  int
	failAt int // 0: never
	always bool
	when   When
	only   string // operation
	gate   chan struct{}
	held   chan struct{}
	log    []string
}

// FailAt makes the n-th operation from now fail (1 is the next), and with always every one from there on.
func (d *Disk) FailAt(n int, when When, always bool) { d.order("", n, when, always) }

// FailAtOnly counts one kind of operation only: "open", "setting", "begin", "write", "commit", "checkpoint" or "read".
func (d *Disk) FailAtOnly(op string, n int, when When, always bool) { d.order(op, n, when, always) }

func (d *Disk) order(op string, n int, when When, always bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.count, d.failAt, d.when, d.always, d.only, d.log = 0, n, when, always, op, nil
}

// Heal lets everything through again.
func (d *Disk) Heal() { d.order("", 0, Before, false) }

// Count returns how many operations went by since the last order.
func (d *Disk) Count() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.count
}

// Log returns their names.
func (d *Disk) Log() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.log...)
}

// Hold makes every commit wait. Held receives one value as a commit comes to wait; release lets all go.
func (d *Disk) Hold() (held <-chan struct{}, release func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	gate := make(chan struct{})
	d.gate, d.held = gate, make(chan struct{}, 1024)
	return d.held, sync.OnceFunc(func() {
		d.mu.Lock()
		d.gate = nil
		d.mu.Unlock()
		close(gate)
	})
}

// Wrap stands in front of a driver's connector; it fits store.Options.Wrap.
func (d *Disk) Wrap(c driver.Connector) driver.Connector { return &connector{Connector: c, disk: d} }

// turn counts an operation and tells whether and when it fails.
func (d *Disk) turn(op string) (fails bool, when When) {
	d.mu.Lock()
	gate, held := d.gate, d.held
	d.mu.Unlock()
	if gate != nil && op == "commit" {
		held <- struct{}{}
		<-gate
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.only != "" && d.only != op || d.only == "" && op == "read" {
		return false, Before
	}
	d.count++
	d.log = append(d.log, op)
	return d.failAt > 0 && (d.count == d.failAt || d.always && d.count > d.failAt), d.when
}

// do runs an operation under the orders.
func do[T any](d *Disk, op string, f func() (T, error), undo func(T)) (T, error) {
	fails, when := d.turn(op)
	var zero T
	if fails && when == Panics {
		panic(fmt.Sprintf("%v: at %s", ErrInjected, op))
	}
	if fails && when == Before {
		return zero, fmt.Errorf("%w: before %s", ErrInjected, op)
	}
	v, err := f()
	if fails && err == nil {
		undo(v)
		return zero, fmt.Errorf("%w: after %s", ErrInjected, op)
	}
	return v, err
}

// kind sorts a statement.
func kind(query string) string {
	words := strings.Fields(query)
	if len(words) == 0 {
		return "read"
	}
	switch word := strings.TrimSuffix(strings.ToUpper(words[0]), ";"); {
	case word == "BEGIN":
		return "begin"
	case word == "COMMIT":
		return "commit"
	case word == "INSERT", word == "UPDATE", word == "DELETE", word == "CREATE":
		return "write"
	case word == "PRAGMA" && strings.Contains(query, "checkpoint(") && !strings.Contains(query, "NOOP"): // which only reads
		return "checkpoint"
	case word == "PRAGMA" && strings.Contains(query, "="):
		return "setting"
	default:
		return "read"
	}
}

type connector struct {
	driver.Connector
	disk *Disk
}

// Connect opens a connection under the orders.
func (c *connector) Connect(ctx context.Context) (driver.Conn, error) {
	inner, err := do(c.disk, "open", func() (driver.Conn, error) { return c.Connector.Connect(ctx) }, func(v driver.Conn) { _ = v.Close() })
	if err != nil {
		return nil, err
	}
	return &conn{Conn: inner, disk: c.disk}, nil
}
