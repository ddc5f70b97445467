package main

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// repeats counts entries in a row that differ in time alone, as those of a program that asks again and again: one line tells all of them.
type repeats struct {
	first, last *pb.Entry
	more        int
}

// add takes the next entry in, and prints it unless it only repeats the one before.
func (r *repeats) add(k *call, e *pb.Entry) {
	if r.first != nil && alike(r.first, e) {
		r.last, r.more = e, r.more+1
		return
	}
	r.end(k)
	*r = repeats{first: e}
	k.printLine(e)
}

// end says how many repeated the one that was printed.
func (r *repeats) end(k *call) {
	if r.more > 0 {
		at := r.last.GetReceipt()
		fmt.Fprintf(k.out, "      and %d more like it, the last %s  %s/%d\n", r.more, instant(at.GetRecordTime().AsTime(), r.first.GetReceipt().GetRecordTime().AsTime()), at.GetChain(), at.GetNumber())
	}
}

// alike tells whether two entries say the same of the same, at other times. Never so are those that have more to show than a line: an allow, by
// each of which leave was given, and a rehearsal. Nor are starts of the service, each of which follows a break of its own, nor a verdict on what could not
// be read.
func alike(a, b *pb.Entry) bool {
	for _, e := range []*pb.Entry{a, b} {
		answers := e.GetVerdict() != pb.Verdict_VERDICT_UNSPECIFIED
		if e.GetVerdict() == pb.Verdict_VERDICT_ALLOW || e.GetKind() == pb.EntryKind_ENTRY_KIND_REHEARSED || e.GetKind() == pb.EntryKind_ENTRY_KIND_SERVICE || answers && e.GetAsked() == nil {
			return false
		}
	}
	return a.GetKind() == b.GetKind() && a.GetReceipt().GetChain() == b.GetReceipt().GetChain() && a.GetRig() == b.GetRig() && a.GetAsker() == b.GetAsker() && a.GetVerdict() == b.GetVerdict() &&
		proto.Equal(a.GetAsked().GetRequest().GetAction(), b.GetAsked().GetRequest().GetAction()) && askedBy(a)+sentenceOf(a) == askedBy(b)+sentenceOf(b)
}
