package main

import (
	"regexp"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// This file says in a person's words why a call brought no answer: names of codes and layers of a transport help nobody at a mount.

// refusal leads the message of a service that answered with an error. What went wrong on this side is said as it is.
func refusal(err error) string {
	s, answered := status.FromError(err)
	if !answered {
		return err.Error()
	}
	switch s.Code() {
	case codes.InvalidArgument:
		return "The service does not take this: " + s.Message()
	case codes.NotFound, codes.FailedPrecondition, codes.AlreadyExists, codes.OutOfRange, codes.Unavailable:
		return "The service answers: " + s.Message()
	case codes.DeadlineExceeded:
		return "No answer came in time" + beyond(s.Message())
	case codes.Canceled:
		return "It was broken off before the answer came" + beyond(s.Message())
	case codes.ResourceExhausted:
		return "The service has too much to do: " + s.Message()
	case codes.Unimplemented:
		return "What listens there does not know this request, as an older service would not: " + s.Message()
	}
	return "The service failed: " + s.Message()
}

// plain tells whether a service that works answered that something is not so.
func plain(c codes.Code) bool {
	switch c {
	case codes.InvalidArgument, codes.NotFound, codes.FailedPrecondition, codes.AlreadyExists, codes.OutOfRange:
		return true
	}
	return false
}

// refuses tells whether a service refused a field of a request, by the details of its answer.
func refuses(s *status.Status, field string) bool {
	for _, d := range s.Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok && slices.ContainsFunc(bad.GetFieldViolations(), func(v *errdetails.BadRequest_FieldViolation) bool { return v.GetField() == field }) {
			return true
		}
	}
	return false
}

// beyond is a message after a colon; empty where it only says again, in a program's words, that time was up.
func beyond(message string) string {
	if message == "" || strings.Contains(message, "context ") {
		return ""
	}
	return ": " + message
}

// What a transport wraps round the reason why nobody could be reached.
var (
	dialling = regexp.MustCompile(`^.*dial tcp [^ ]+: `)
	broken   = regexp.MustCompile(`(?i)connection error|transport|EOF|reset by peer|broken pipe|closed`)
	speaking = regexp.MustCompile(`(?i)preface|http2|frame|malformed|tls|unexpected HTTP`)
)

// unreached says why nobody could be reached.
func unreached(message string) string {
	switch {
	case dialling.MatchString(message):
		return strings.TrimPrefix(strings.TrimSuffix(dialling.ReplaceAllString(message, ""), `"`), "connect: ")
	case strings.Contains(message, "name resolver") || strings.Contains(message, "lookup"):
		return "there is no such host"
	case speaking.MatchString(message):
		return "what listens there speaks otherwise: another program?"
	case broken.MatchString(message):
		return "the connection broke"
	}
	return message
}
