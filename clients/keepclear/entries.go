package main

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// ruleID is what a rule's id looks like.
var ruleID = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}(/[a-z][a-z0-9_]{0,62}){1,7}$`)

// entries reads the record.
func entries(k *call) (int, error) {
	rig := k.flags.String("rig", "", "`RIG` whose entries are wanted")
	verdict := k.flags.String("verdict", "", "`WORD` of the verdict: allow, hold or deny")
	kind := k.flags.String("kind", "", "`WORD` of what entries are about: "+strings.Join(kinds(), ", "))
	rule := k.flags.String("rule", "", "`ID` of a rule: only what it held or denied")
	count := k.flags.Int("count", 50, "`N` entries at most, 1 to 1000; absent: 50")
	says := k.flags.String("says", "", "`TEXT` in who asked or told, or in the sentence, as a person's name; capitals do not matter")
	from := k.flags.String("from", "", "`INSTANT` of the first: 2026-11-14T21:30:00Z, or 21:30Z, the last that has been; or as a list prints it")
	before := k.flags.String("before", "", "`INSTANT` that all are earlier than, written in the same way; of a time of day the first after --from")
	words, err := k.words()
	if err != nil {
		return 0, err
	}
	if len(words) == 0 {
		return 0, wrong("list, show, export or follow is wanted")
	}
	f := &pb.EntryFilter{}
	if *rig != "" {
		f.Rigs = []string{*rig}
	}
	if *rule != "" {
		if !ruleID.MatchString(*rule) {
			return 0, wrong("--rule %q: want AREA/NAME, as sky/floor: keepclear rules lists them", *rule)
		}
		f.RuleIds = []string{*rule}
	}
	if *kind != "" {
		v, ok := pb.EntryKind_value["ENTRY_KIND_"+strings.ToUpper(*kind)]
		if !ok || v == 0 {
			return 0, wrong("--kind %q: want %s", *kind, strings.Join(kinds(), ", "))
		}
		f.Kinds = []pb.EntryKind{pb.EntryKind(v)}
	}
	if *verdict != "" {
		v, ok := map[string]pb.Verdict{"allow": pb.Verdict_VERDICT_ALLOW, "hold": pb.Verdict_VERDICT_HOLD, "deny": pb.Verdict_VERDICT_DENY}[*verdict]
		if !ok {
			return 0, wrong("--verdict %q: want allow, hold or deny", *verdict)
		}
		f.Verdicts = []pb.Verdict{v}
	}
	if f.FromTime, err = k.onRecord("from", *from, nil); err != nil {
		return 0, err
	}
	if f.BeforeTime, err = k.onRecord("before", *before, f.FromTime); err != nil {
		return 0, err
	}
	if f.FromTime != nil && f.BeforeTime != nil && !f.FromTime.AsTime().Before(f.BeforeTime.AsTime()) {
		return 0, wrong("--before %s is not later than --from %s: exchange the two, or leave one out", f.BeforeTime.AsTime().Format(onDay), f.FromTime.AsTime().Format(onDay))
	}
	conn, err := k.dial()
	if err != nil {
		return 0, err
	}
	c := pb.NewRecordServiceClient(conn)
	switch {
	case words[0] == "list" && len(words) == 1:
		return k.listEntries(c, f, *count, *says)
	case words[0] == "show" && len(words) == 2:
		return k.showEntry(c, words[1])
	case words[0] == "export" && len(words) == 1:
		return k.exportEntries(c, f)
	case words[0] == "follow" && len(words) == 1:
		return k.followEntries(c, f)
	}
	return 0, wrong("list, show PLACE (chain/number, or a request, permit or lock id), export, or follow")
}

// kinds are the words for what entries are about.
func kinds() []string {
	var out []string
	for n := 1; n < len(pb.EntryKind_name); n++ {
		out = append(out, word(pb.EntryKind_name[int32(n)], "ENTRY_KIND_"))
	}
	return out
}

func (k *call) listEntries(c pb.RecordServiceClient, f *pb.EntryFilter, count int, says string) (int, error) {
	if count < 1 || count > 1000 {
		return 0, wrong("--count %d: want 1 to 1000; entries export takes all that match", count)
	}
	r, more, err := k.newest(c, f, count, says)
	if err != nil {
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
		return exitDone, nil
	}
	if len(r.GetEntries()) == 0 {
		ctx, cancel := k.timed()
		defer cancel()
		return k.nothing(ctx, f)
	}
	if more {
		oldest := r.GetEntries()[len(r.GetEntries())-1].GetReceipt().GetRecordTime().AsTime()
		fmt.Fprintf(k.out, "(EARLIER ONES MATCH TOO; they are listed with --before %s)\n", oldest.Format(time.RFC3339Nano))
	}
	var one repeats
	for _, e := range slices.Backward(r.GetEntries()) { // the newest last, where a terminal ends
		one.add(k, k.whole(c, e))
	}
	one.end(k)
	return exitDone, nil
}

// newest are the newest entries that match, count of them at most, and whether more do. The service finds no text, so that for one all are read, as many
// as it takes; such a list is no page that another follows.
func (k *call) newest(c pb.RecordServiceClient, f *pb.EntryFilter, count int, says string) (out *pb.ListEntriesResponse, more bool, err error) {
	page := func(size int, token string) (*pb.ListEntriesResponse, error) {
		ctx, cancel := k.timed()
		defer cancel()
		return c.ListEntries(ctx, &pb.ListEntriesRequest{Filter: f, PageSize: int32(size), PageToken: token})
	}
	if says == "" {
		out, err = page(count, "")
		return out, out.GetNextPageToken() != "", err
	}
	out = &pb.ListEntriesResponse{}
	for token, rest := "", true; rest; rest = token != "" {
		if k.ctx.Err() != nil {
			return nil, false, context.Cause(k.ctx)
		}
		r, err := page(headsAtOnce, token)
		if err != nil {
			return nil, false, err
		}
		for _, e := range r.GetEntries() {
			if !strings.Contains(strings.ToLower(e.GetAsker()+"\n"+e.GetSentence()), strings.ToLower(says)) {
				continue
			}
			if len(out.Entries) == count {
				return out, true, nil
			}
			out.Entries = append(out.Entries, e)
		}
		token = r.GetNextPageToken()
	}
	return out, false, nil
}

// nothing says that no entry matches, or that none can: there is no such rig or rule.
func (k *call) nothing(ctx context.Context, f *pb.EntryFilter) (int, error) {
	for _, rig := range f.GetRigs() {
		if _, err := pb.NewRigServiceClient(k.conn).GetRig(ctx, &pb.GetRigRequest{Rig: rig}); status.Code(err) == codes.NotFound {
			return 0, wrong("%s", status.Convert(err).Message())
		}
	}
	r, err := pb.NewRuleServiceClient(k.conn).ListRules(ctx, &pb.ListRulesRequest{})
	for _, rule := range f.GetRuleIds() {
		known := func(one *pb.Rule) bool { return one.GetRuleId() == rule }
		if err == nil && !strings.HasPrefix(rule, "permit/") && !slices.ContainsFunc(r.GetRules(), known) { // permits are judged by no rule of the list
			return 0, wrong("there is no rule %q: keepclear rules lists them", rule)
		}
	}
	fmt.Fprintln(k.out, "NO ENTRIES match.")
	return exitDone, nil
}

// whole is a question, answered or refused, as it stands on record, of which a list has the head alone: a line should say what was asked. What
// cannot be had is done without.
func (k *call) whole(c pb.RecordServiceClient, e *pb.Entry) *pb.Entry {
	refused := e.GetKind() == pb.EntryKind_ENTRY_KIND_REFUSED
	if k.silent || e.GetVerdict() == pb.Verdict_VERDICT_UNSPECIFIED && !refused || e.GetContent() != nil {
		return e
	}
	all, err := k.stored(c, e.GetReceipt())
	if err != nil { // one that is damaged is done without; a service that is gone would be waited for at each
		k.silent = status.Code(err) == codes.DeadlineExceeded || status.Code(err) == codes.Unavailable
		return e
	}
	return all
}

// stored is an entry as it stands on record.
func (k *call) stored(c pb.RecordServiceClient, at *pb.Receipt) (*pb.Entry, error) {
	ctx, cancel := k.timed()
	defer cancel()
	r, err := c.GetEntry(ctx, &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: at.GetChain(), Number: at.GetNumber()}}})
	return r.GetEntry(), err
}

// printLine prints an entry in one line.
func (k *call) printLine(e *pb.Entry) {
	what := strings.ToUpper(word(e.GetVerdict().String(), "VERDICT_"))
	if e.GetVerdict() == pb.Verdict_VERDICT_UNSPECIFIED {
		what = word(e.GetKind().String(), "ENTRY_KIND_")
	}
	fmt.Fprintf(k.out, "%s  %s/%d  %-9s %s%s\n", e.GetReceipt().GetRecordTime().AsTime().Format(onDay), e.GetReceipt().GetChain(), e.GetReceipt().GetNumber(), what, askedBy(e), sentenceOf(e))
}

// sentenceOf is an entry's sentence, with the rule that it comes from where it answers a question.
func sentenceOf(e *pb.Entry) string {
	if j := e.GetAsked().GetResponse().GetJudgement(); j.GetSentence() == e.GetSentence() {
		return headed(j)
	}
	return e.GetSentence()
}

// askedBy is what a question asked and who, before the sentence that answers it; nothing of any other entry.
func askedBy(e *pb.Entry) string {
	if e.GetAsked() == nil {
		return ""
	}
	what := keepclear.Say(e.GetAsked().GetRequest().GetAction())
	if e.GetAsker() != "" {
		what += ", asked by " + e.GetAsker()
	}
	return what + ": "
}

func (k *call) showEntry(c pb.RecordServiceClient, place string) (int, error) {
	ctx, cancel := k.timed()
	defer cancel()
	r, err := find(ctx, c, place)
	switch {
	case status.Code(err) == codes.NotFound:
		return 0, k.noEntry(ctx, c, place)
	case err != nil:
		return 0, err
	}
	if *k.json {
		k.printJSON(r)
		return exitDone, nil
	}
	k.printEntry(r.GetEntry())
	return exitDone, nil
}

// find reads an entry by its place, or by an id that it made.
func find(ctx context.Context, c pb.RecordServiceClient, place string) (*pb.GetEntryResponse, error) {
	if chain, number, ok := strings.Cut(place, "/"); ok {
		n, err := strconv.ParseUint(number, 10, 64)
		if err != nil || n == 0 {
			return nil, wrong("%q is no place: want CHAIN/NUMBER, counted from 1", place)
		}
		return c.GetEntry(ctx, &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: chain, Number: n}}})
	}
	if _, err := strconv.ParseUint(place, 10, 64); err == nil && len(place) < 16 { // an id has 16 characters and more
		return nil, wrong("entry %s of which chain? want CHAIN/NUMBER, like heron/%s", place, place)
	}
	r, err := c.GetEntry(ctx, &pb.GetEntryRequest{Key: &pb.GetEntryRequest_RequestId{RequestId: place}})
	if err != nil {
		r, err = c.GetEntry(ctx, &pb.GetEntryRequest{Key: &pb.GetEntryRequest_LeaveId{LeaveId: place}})
	}
	return r, err
}

// noEntry says that there is no such entry, and which is the last of its chain where that can be told.
func (k *call) noEntry(ctx context.Context, c pb.RecordServiceClient, place string) error {
	chain, number, ok := strings.Cut(place, "/")
	if !ok {
		return wrong("no request, permit, sync leave or lock on record has the id %s", place)
	}
	for token, rest := "", true; rest; rest = token != "" { // what was refused of a rig stands on another chain, and may fill pages
		r, err := c.ListEntries(ctx, &pb.ListEntriesRequest{Filter: &pb.EntryFilter{Rigs: []string{chain}}, PageSize: headsAtOnce, PageToken: token})
		if err != nil {
			return wrong("there is no entry %s in chain %q, or what there is of it cannot be listed: %s", number, chain, status.Convert(err).Message())
		}
		for _, e := range r.GetEntries() {
			if e.GetReceipt().GetChain() == chain {
				return wrong("there is no entry %s in chain %s (the last is %d)", number, chain, e.GetReceipt().GetNumber())
			}
		}
		token = r.GetNextPageToken()
	}
	return wrong("there is no entry %s in a chain %q", number, chain)
}

// decidedBy is the fact by which a rule passed or objected, and its limit.
func decidedBy(f *pb.Finding) string {
	said := ""
	if f.GetFact() != nil {
		said = f.GetFact().GetName() + " " + valueOf(&pb.Fact{Value: f.GetFact().GetValue()})
	}
	if f.Limit != nil {
		said += fmt.Sprintf(", limit %s", strconv.FormatFloat(f.GetLimit(), 'g', 8, 64))
	}
	return said
}

func valueOf(f *pb.Fact) string {
	s := ""
	switch v := f.GetValue().(type) {
	case *pb.Fact_Number:
		s = strconv.FormatFloat(v.Number, 'g', 8, 64)
	case *pb.Fact_Word:
		s = v.Word
	case *pb.Fact_Truth:
		s = strconv.FormatBool(v.Truth)
	case *pb.Fact_Missing:
		s = "missing: " + v.Missing
	}
	if len(f.GetAbout()) > 0 {
		s += "  (" + strings.Trim(strings.Join(f.GetAbout(), ", "), ", ") + ")"
	}
	return s
}

// followEntries prints entries as they are written, until it is interrupted.
func (k *call) followEntries(c pb.RecordServiceClient, f *pb.EntryFilter) (int, error) {
	s, err := c.FollowEntries(k.ctx, &pb.FollowEntriesRequest{Filter: f})
	if err != nil {
		return 0, err
	}
	for {
		r, err := s.Recv()
		switch {
		case k.ctx.Err() != nil:
			return exitDone, nil
		case err != nil:
			return 0, err
		case *k.json:
			k.printJSON(r)
		case r.GetEntry() != nil:
			k.printLine(k.whole(c, r.GetEntry()))
		}
	}
}
