package wire

import (
	"fmt"

	"google.golang.org/protobuf/reflect/protoreflect"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// Sizes of requests, in bytes. Each is above the largest request that keeps every bound of the proto files (size_test.go builds
// those), rounded up to a power of two; a request of an ordinary night has less than 500.
const (
	defaultMaxBytes = 128 << 10
	listMaxBytes    = 512 << 10 // 256 rehearsed steps, or 1000 receipts
	fileMaxBytes    = 17 << 20  // a rig file and the meshes that it names: 330,000 facets, binary, take some 4 s and 230 MB
)

// maxDepth bounds nesting. The deepest request of this version has 8 storeys (a site inside a sample inside a solve).
const maxDepth = 16

// MaxBytes returns the most bytes that a request of this type may have.
func MaxBytes(desc protoreflect.MessageDescriptor) int {
	switch desc.FullName() {
	case "keepclear.v1.RehearseRequest", "keepclear.v1.VerifyRecordRequest":
		return listMaxBytes
	case "keepclear.v1.CheckRigRequest":
		return fileMaxBytes
	}
	return defaultMaxBytes
}

// tooLarge tells of a request above its size.
func tooLarge(n int, desc protoreflect.MessageDescriptor) FieldFault {
	return FieldFault{
		Reason: keepclearv1.ErrorReason_ERROR_REASON_TOO_MUCH,
		Wanted: fmt.Sprintf("at most %d bytes", MaxBytes(desc)),
		Got:    fmt.Sprintf("%d", n),
		Remedy: "send less in one request",
	}
}

// tooDeep tells of nesting below maxDepth.
func tooDeep(at *trail) FieldFault {
	return FieldFault{
		Path: at.String(), Reason: keepclearv1.ErrorReason_ERROR_REASON_TOO_MUCH,
		Wanted: fmt.Sprintf("at most %d messages inside each other", maxDepth), Got: "more", Remedy: "send a flatter request",
	}
}
