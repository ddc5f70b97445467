package wire

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// place is one field of one request, by the fields that lead to it. The tests walk the descriptors, so that a new field is covered
// without a new test.
type place struct {
	request protoreflect.MessageDescriptor
	way     []protoreflect.FieldDescriptor // the last one is the field itself
}

// leaf returns the field itself.
func (p place) leaf() protoreflect.FieldDescriptor { return p.way[len(p.way)-1] }

// path returns the field's path as faults spell it, first elements of lists.
func (p place) path() string {
	var at *trail
	for _, fd := range p.way {
		if fd.IsList() {
			at = at.element(string(fd.Name()), 0)
		} else {
			at = at.field(string(fd.Name()))
		}
	}
	return at.String()
}

// String names the place in failures.
func (p place) String() string { return string(p.request.Name()) + "." + p.path() }

// places returns every field of every request but Withdraw, at any depth.
func places() []place {
	var out []place
	for _, r := range Requests() {
		if r.Name() == "WithdrawRequest" {
			continue
		}
		out = append(out, placesIn(r, r, nil)...)
	}
	return out
}

func placesIn(request, m protoreflect.MessageDescriptor, way []protoreflect.FieldDescriptor) []place {
	var out []place
	for i := range m.Fields().Len() {
		fd := m.Fields().Get(i)
		here := append(way[:len(way):len(way)], fd)
		out = append(out, place{request, here})
		if fd.Message() != nil {
			out = append(out, placesIn(request, fd.Message(), here)...)
		}
	}
	return out
}

// encode returns the bytes of a request that has nothing but the place, holding payload with its tag; and, around it, the messages
// that lead to it.
func (p place) encode(payload []byte) []byte {
	for i := len(p.way) - 2; i >= 0; i-- {
		payload = lengthened(p.way[i].Number(), payload)
	}
	return payload
}

// with returns a request that has nothing but the place, holding v.
func (p place) with(v protoreflect.Value) proto.Message {
	root := dynamicpb.NewMessage(p.request)
	m := protoreflect.Message(root)
	for _, fd := range p.way[:len(p.way)-1] {
		if fd.IsList() {
			m = m.Mutable(fd).List().AppendMutable().Message()
		} else {
			m = m.Mutable(fd).Message()
		}
	}
	if p.leaf().IsList() {
		m.Mutable(p.leaf()).List().Append(v)
	} else {
		m.Set(p.leaf(), v)
	}
	return concrete(root)
}

// without returns a request that has the message in which the place lies, but not the place.
func (p place) without() proto.Message {
	root := concrete(dynamicpb.NewMessage(p.request))
	m := root.ProtoReflect()
	for _, fd := range p.way[:len(p.way)-1] {
		if fd.IsList() {
			m = m.Mutable(fd).List().AppendMutable().Message()
		} else {
			m = m.Mutable(fd).Message()
		}
	}
	return root
}

// concrete turns a message made from a descriptor into the generated type.
func concrete(m proto.Message) proto.Message {
	out := newRequest(m.ProtoReflect().Descriptor())
	raw, err := proto.Marshal(m)
	if err != nil {
		panic(err) // a bug of the test
	}
	if err := proto.Unmarshal(raw, out); err != nil {
		panic(err)
	}
	return out
}

// newRequest returns an empty request of the generated type.
func newRequest(d protoreflect.MessageDescriptor) proto.Message {
	for _, m := range []proto.Message{
		&keepclearv1.AskRequest{}, &keepclearv1.ReportRequest{}, &keepclearv1.WithdrawRequest{}, &keepclearv1.RehearseRequest{},
		&keepclearv1.GetRigRequest{}, &keepclearv1.ListRigsRequest{}, &keepclearv1.CheckRigRequest{}, &keepclearv1.ListRulesRequest{},
		&keepclearv1.SurveyRigRequest{}, &keepclearv1.DrawRigRequest{},
		&keepclearv1.GetEntryRequest{}, &keepclearv1.ListEntriesRequest{}, &keepclearv1.FollowEntriesRequest{},
		&keepclearv1.VerifyRecordRequest{}, &keepclearv1.LockRequest{}, &keepclearv1.ReleaseRequest{},
		&keepclearv1.PlanGaugesRequest{}, &keepclearv1.JudgeGaugesRequest{},
	} {
		if m.ProtoReflect().Descriptor() == d {
			return m
		}
	}
	panic("newRequest does not know " + string(d.FullName()))
}

// lengthened wraps bytes as a length-delimited field.
func lengthened(num protowire.Number, inner []byte) []byte {
	return protowire.AppendBytes(protowire.AppendTag(nil, num, protowire.BytesType), inner)
}

// at returns the fault of a path, and whether there is one.
func at(fs Faults, path string) (FieldFault, bool) {
	for _, f := range fs {
		if f.Path == path {
			return f, true
		}
	}
	return FieldFault{}, false
}

// checker returns a fresh Checker.
func checker(t testing.TB) *Checker {
	t.Helper()
	c, err := NewChecker()
	require.NoError(t, err)
	return c
}

// TestRequestsHaveNoMapsAndNoCycles holds what walk and maxDepth rest on.
func TestRequestsHaveNoMapsAndNoCycles(t *testing.T) {
	deepest := 0
	for _, p := range places() {
		require.False(t, p.leaf().IsMap(), "%v is a map, which walk does not visit", p)
		deepest = max(deepest, len(p.way))
	}
	require.Less(t, deepest, maxDepth, "deepest request has %d storeys, maxDepth = %d", deepest, maxDepth)
	t.Logf("%d requests, %d places, deepest %d", len(Requests()), len(places()), deepest)
}
