package state

import (
	"encoding/base64"
	"strconv"
	"time"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Kinds of values, and whether they are left out where there is nothing to say, as their tags have it.

// list writes a list of objects; nothing where it is empty.
func list[T any](o *object, name string, of []T, write func(*object, *T)) {
	if len(of) == 0 {
		return
	}
	o.key(name)
	for i := range of {
		sep := byte(',')
		if i == 0 {
			sep = '['
		}
		o.b, o.begun = append(o.b, sep), false
		write(o, &of[i])
		o.end()
	}
	o.b = append(o.b, ']')
}

// some, named and rare write what few entries have; nothing where it is empty.
func some[T any](o *object, name string, of []T) {
	if len(of) > 0 {
		o.any(name, of)
	}
}

func named[K comparable, T any](o *object, name string, of map[K]T) {
	if len(of) > 0 {
		o.any(name, of)
	}
}

func rare[T any](o *object, name string, of *T) {
	if of != nil {
		o.any(name, of)
	}
}

// time writes an instant, known one that is left out where there is none.
func (o *object) time(name string, t time.Time) { o.instant(name, &t) }

func (o *object) known(name string, t time.Time) {
	if !t.IsZero() {
		o.instant(name, &t)
	}
}

// long writes a length of time in nanoseconds, span one that is left out where it is none.
func (o *object) long(name string, d time.Duration) {
	o.key(name)
	o.b = strconv.AppendInt(o.b, int64(d), 10)
}

func (o *object) span(name string, d time.Duration) {
	if d != 0 {
		o.long(name, d)
	}
}

func (o *object) count(name string, n uint64) {
	o.key(name)
	o.b = strconv.AppendUint(o.b, n, 10)
}

// whole writes a number that is left out where it is 0.
func (o *object) whole(name string, n int) {
	if n != 0 {
		o.key(name)
		o.b = strconv.AppendInt(o.b, int64(n), 10)
	}
}

// real writes a number, figure one that is left out where it is 0.
func (o *object) real(name string, v float64) { o.number(name, &v) }

func (o *object) figure(name string, v float64) {
	if v != 0 {
		o.number(name, &v)
	}
}

// angle writes an angle that is left out where there is none.
func (o *object) angle(name string, a *unit.Angle) { o.number(name, (*float64)(a)) }

// either writes a truth, yes one that is left out where it is none.
func (o *object) either(name string, v bool) { o.truth(name, &v) }

func (o *object) yes(name string, v bool) {
	if v {
		o.truth(name, &v)
	}
}

func (o *object) angles(a *rig.Axes) {
	o.real("axis1_rad", float64(a.A1))
	o.real("axis2_rad", float64(a.A2))
}

// pair writes axis angles; axes those that are left out where there are none, turned those that are where both are 0.
func (o *object) pair(name string, a rig.Axes) {
	o.open(name)
	o.angles(&a)
	o.end()
}

func (o *object) axes(name string, a *rig.Axes) {
	if a != nil {
		o.pair(name, *a)
	}
}

func (o *object) turned(name string, a rig.Axes) {
	if a != (rig.Axes{}) {
		o.pair(name, a)
	}
}

// bytes writes bytes that are left out where there are none.
func (o *object) bytes(name string, b []byte) {
	if len(b) > 0 {
		o.key(name)
		o.b = append(base64.StdEncoding.AppendEncode(append(o.b, '"'), b), '"')
	}
}
