// Package wire stands between protobuf messages and the domain. It refuses what the service must not guess about, and turns the
// rest into questions and answers.
//
// Refused, with every place named at once (Faults): bytes that are no message or too large, fields and enum numbers that this
// version does not know (an ignored constraint would be an allow), single fields sent twice (which of the two was meant?),
// numbers that are not finite or out of range, missing fields, texts with control characters, and fields that contradict each
// other. Withdraw alone is exempt: taking leave back is never refused.
//
// Ranges, lengths and patterns stand in the proto files, as protovalidate rules; this package turns a broken rule into a
// sentence of ours. Everything that needs a rig, a clock or the past (an optics name, an exposure in the future) is judged
// later, in the domain. Degrees become radians here and nowhere else. No gRPC: status codes are made from Faults in rpc.
//
// Decode works on the bytes as they came, so rpc must hand them over: register each method with a handler that decodes into
// a Frame, whose codec only keeps the bytes, and call Decode.
package wire
