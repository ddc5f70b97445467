package wire

import (
	"errors"
	"fmt"
	"slices"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// Frame is a request as its bytes came. An rpc handler decodes into it with a codec that only keeps the bytes, so that Decode
// sees what a decoder would hide, and the record gets what was judged.
type Frame struct{ Raw []byte }

// Checker judges whether a request may be read at all. It is safe for many callers at once.
type Checker struct{ rules protovalidate.Validator }

// NewChecker compiles the rules of a question. Those of other requests are compiled by Complete, or when the first comes; what does not compile refuses
// every request that it is for.
func NewChecker() (*Checker, error) {
	rules, err := protovalidate.New(protovalidate.WithMessageDescriptors((&keepclearv1.AskRequest{}).ProtoReflect().Descriptor()))
	if err != nil {
		return nil, fmt.Errorf("compiling the rules of the API: %w", err)
	}
	return &Checker{rules}, nil
}

// Complete compiles the rules of every request of the API, and tells of those that do not compile.
func (c *Checker) Complete() error { return c.compile(Requests()) }

// compile has every message that is met in some compiled by asking of it while it is empty.
func (c *Checker) compile(messages []protoreflect.MessageDescriptor) error {
	var bad []error
	seen := map[protoreflect.FullName]bool{}
	for next := slices.Clone(messages); len(next) > 0; {
		m := next[0]
		next = next[1:]
		if seen[m.FullName()] {
			continue
		}
		seen[m.FullName()] = true
		var uncompiled *protovalidate.CompilationError
		if err := c.rules.Validate(dynamicpb.NewMessage(m)); errors.As(err, &uncompiled) {
			bad = append(bad, fmt.Errorf("compiling the rules of %s: %w", m.FullName(), err))
		}
		for i := range m.Fields().Len() {
			if inner := m.Fields().Get(i).Message(); inner != nil {
				next = append(next, inner)
			}
		}
	}
	return errors.Join(bad...)
}

// Decode reads the bytes of a request into msg and returns everything that is wrong with them. With faults, msg holds some of
// what was sent, or nothing, and must not be acted on; Glimpse tells whose it is. A WithdrawRequest has no faults: what can be read of it counts.
func (c *Checker) Decode(raw []byte, msg proto.Message) Faults {
	if w, ok := msg.(*keepclearv1.WithdrawRequest); ok {
		readWithdraw(raw, w)
		return nil
	}
	seen := scanned(raw, msg.ProtoReflect().Descriptor())
	if seen.full() {
		return tidy(seen.faults)
	}
	return tidy(append(seen.faults, c.decoded(raw, msg, len(seen.faults) > 0)...))
}

// decoded reads the bytes into msg and judges what came of it. Where the decoder gives up and the faults known before say where,
// there is nothing to add.
func (c *Checker) decoded(raw []byte, msg proto.Message, known bool) Faults {
	err := proto.Unmarshal(raw, msg)
	switch {
	case err == nil:
		return c.judged(msg)
	case known:
		return nil
	default:
		return invalid(nil, "protobuf bytes", shown(err.Error()), "send the message as the generated code writes it")
	}
}

// Check returns everything that is wrong with a decoded request, but for what only its bytes show (CheckRaw).
func (c *Checker) Check(msg proto.Message) Faults { return tidy(c.judged(msg)) }

// judged is Check before sorting.
func (c *Checker) judged(msg proto.Message) Faults {
	if _, ok := msg.(*keepclearv1.WithdrawRequest); ok {
		return nil
	}
	return append(own(msg), broken(msg, c.rules.Validate(msg))...)
}

// Requests returns the descriptor of every request of the API, by service and method.
func Requests() []protoreflect.MessageDescriptor {
	var out []protoreflect.MessageDescriptor
	for _, file := range []protoreflect.FileDescriptor{
		keepclearv1.File_keepclear_v1_motion_service_proto,
		keepclearv1.File_keepclear_v1_rehearsal_service_proto,
		keepclearv1.File_keepclear_v1_rig_service_proto,
		keepclearv1.File_keepclear_v1_rule_service_proto,
		keepclearv1.File_keepclear_v1_record_service_proto,
		keepclearv1.File_keepclear_v1_lock_service_proto,
		keepclearv1.File_keepclear_v1_gauge_service_proto,
	} {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				out = append(out, methods.Get(j).Input())
			}
		}
	}
	return out
}
