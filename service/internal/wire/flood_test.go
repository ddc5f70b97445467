package wire

import (
	"bytes"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// floodMost bounds what one request, as large as is let in, may cost in memory handed out. Without the guards on lists the worst
// of these took 700 MiB, and 8 s.
const floodMost = 24 << 20

// TestFloodsAreCheap fills each field of each request with as many small pieces as fit, plain and one storey down.
func TestFloodsAreCheap(t *testing.T) {
	c := checker(t)
	for _, r := range Requests() {
		for i := range r.Fields().Len() {
			fd := r.Fields().Get(i)
			for _, raw := range floods(r, fd) {
				msg := newRequest(r)
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				faults := c.Decode(raw, msg)
				runtime.ReadMemStats(&after)
				assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(floodMost), "bytes handed out for a flood of %s.%s", r.Name(), fd.Name())
				assert.LessOrEqual(t, len(faults), maxFaults, "faults of a flood of %s.%s", r.Name(), fd.Name())
			}
		}
	}
}

// floods returns requests of nearly the largest size that repeat one field, or a field of its message.
func floods(r protoreflect.MessageDescriptor, fd protoreflect.FieldDescriptor) [][]byte {
	if wireType(fd.Kind()) != protowire.BytesType {
		return nil
	}
	var out [][]byte
	for _, inner := range [][]byte{nil, {0x0a, 0}, {0x12, 0}, {0x1a, 0}, {0x10, 1}} {
		one := lengthened(fd.Number(), inner)
		out = append(out, bytes.Repeat(one, (MaxBytes(r)-1)/len(one)))
		if len(inner) > 0 {
			out = append(out, lengthened(fd.Number(), bytes.Repeat(inner, (MaxBytes(r)-20)/2)))
		}
	}
	return out
}
