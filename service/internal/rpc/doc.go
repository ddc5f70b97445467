// Package rpc is the gRPC edge: it takes requests as bytes, has wire check and read them, asks the rooms inside, and turns what
// they say into replies and status codes. It is the only room that knows status codes.
//
// Every request is read from its raw bytes, so that a field this server does not know is refused and not ignored, and so that the
// record holds exactly what came. Deny and hold are answers with status OK; every error status means hold to a client. A panic in
// any room becomes INTERNAL, never an answer. Withdraw is never refused.
package rpc
