package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// shelf is a record with one entry, heron/5, of the rig that there is.
type shelf struct {
	pb.UnimplementedRecordServiceServer
	pb.UnimplementedRigServiceServer
	pb.UnimplementedRuleServiceServer
}

func (shelf) GetEntry(_ context.Context, r *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	if r.GetPlace().GetChain() == "heron" && r.GetPlace().GetNumber() == 5 {
		whole := onShelf()
		whole.Content = &pb.Entry_Asked{Asked: &pb.Asked{Request: &pb.AskRequest{Action: &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}}}}
		return &pb.GetEntryResponse{Entry: whole}, nil
	}
	return nil, status.Error(codes.NotFound, "there is no such entry")
}

func (shelf) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	f := r.GetFilter()
	if len(f.GetVerdicts())+len(f.GetRuleIds()) > 0 || len(f.GetRigs()) > 0 && f.GetRigs()[0] != "heron" {
		return &pb.ListEntriesResponse{}, nil
	}
	return &pb.ListEntriesResponse{Entries: []*pb.Entry{onShelf()}}, nil
}

// onShelf is the head of the entry that there is, as a list has it: without what was asked.
func onShelf() *pb.Entry {
	return &pb.Entry{Rig: "heron", Receipt: &pb.Receipt{Chain: "heron", Number: 5}, Asker: "night program", Verdict: pb.Verdict_VERDICT_ALLOW, Sentence: "Every rule that applies passed."}
}

func (shelf) GetRig(_ context.Context, r *pb.GetRigRequest) (*pb.GetRigResponse, error) {
	if r.GetRig() != "heron" {
		return nil, status.Error(codes.NotFound, `no such rig: "owl"; there are [heron]`)
	}
	return &pb.GetRigResponse{Rig: &pb.Rig{Rig: "heron"}}, nil
}

func (shelf) ListRules(context.Context, *pb.ListRulesRequest) (*pb.ListRulesResponse, error) {
	return &pb.ListRulesResponse{Rules: []*pb.Rule{{RuleId: "sky/floor"}}}, nil
}

// What is not there is said to be not there, and a wrong name is wrong usage, not an empty page.
func TestWhatIsNotOnRecordIsSaid(t *testing.T) {
	for line, c := range map[string]struct {
		code int
		says string
	}{
		"list":                      {exitDone, "heron/5 ALLOW home, asked by night program: Every rule that applies passed."},
		"list --rig heron":          {exitDone, "heron/5"},
		"list --verdict deny":       {exitDone, "NO ENTRIES match."},
		"list --rule sky/floor":     {exitDone, "NO ENTRIES match."},
		"list --rule permit/one":    {exitDone, "NO ENTRIES match."},
		"list --rule no/such":       {exitUsage, `there is no rule "no/such": keepclear rules lists them`},
		"list --rule foo":           {exitUsage, `--rule "foo": want AREA/NAME, as sky/floor: keepclear rules lists them`},
		"list --rig owl":            {exitUsage, `no such rig: "owl"; there are [heron]`},
		"list --count 0":            {exitUsage, "want 1 to 1000"},
		"show 97":                   {exitUsage, "entry 97 of which chain? want CHAIN/NUMBER, like heron/97"},
		"show heron/97":             {exitUsage, "there is no entry 97 in chain heron (the last is 5)"},
		"show owl/1":                {exitUsage, `there is no entry 1 in a chain "owl"`},
		"show heron/0":              {exitUsage, "counted from 1"},
		"show 0123456789abcdef0123": {exitUsage, "no request, permit, sync leave or lock on record has the id 0123456789abcdef0123"},
	} {
		address := listening(t, func(g *grpc.Server) {
			pb.RegisterRecordServiceServer(g, shelf{})
			pb.RegisterRigServiceServer(g, shelf{})
			pb.RegisterRuleServiceServer(g, shelf{})
		})
		code, out, errs := typed(t, address, "entries "+line)
		assert.Equal(t, c.code, code, "%s: %s%s", line, out, errs)
		assert.Contains(t, strings.Join(strings.Fields(out+errs), " "), c.says, line)
	}
}

// refusedOnShelf is a record whose newest entry of the rig is a refused question, on the service's chain.
type refusedOnShelf struct{ shelf }

func (refusedOnShelf) ListEntries(context.Context, *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	return &pb.ListEntriesResponse{Entries: []*pb.Entry{refusedEntry(), onShelf()}}, nil
}

func refusedEntry() *pb.Entry {
	return &pb.Entry{Rig: "heron", Receipt: &pb.Receipt{Chain: "service", Number: 9}, Asker: "night program", Kind: pb.EntryKind_ENTRY_KIND_REFUSED, Sentence: "Refused: #255 is not known."}
}

func (s refusedOnShelf) GetEntry(ctx context.Context, r *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	if r.GetPlace().GetChain() != "service" {
		return s.shelf.GetEntry(ctx, r)
	}
	e := refusedEntry()
	e.Content = &pb.Entry_Asked{Asked: &pb.Asked{Request: &pb.AskRequest{Action: &pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{}}}}}}
	return &pb.GetEntryResponse{Entry: e}, nil
}

// TestWhatWasRefusedSaysWhatWasAsked: a question that was not understood is listed with what it asked and who, and stands in no way of the rig's own chain.
func TestWhatWasRefusedSaysWhatWasAsked(t *testing.T) {
	address := listening(t, func(g *grpc.Server) {
		pb.RegisterRecordServiceServer(g, refusedOnShelf{})
		pb.RegisterRigServiceServer(g, shelf{})
	})
	_, out, errs := typed(t, address, "entries list --rig heron")
	assert.Contains(t, strings.Join(strings.Fields(out), " "), "service/9 refused park, asked by night program: Refused: #255 is not known.", errs)
	_, out, errs = typed(t, address, "entries show heron/97")
	assert.Contains(t, strings.Join(strings.Fields(out+errs), " "), "there is no entry 97 in chain heron (the last is 5)")
}

// fullOfRefused is a record whose first page of the rig holds refused questions alone.
type fullOfRefused struct{ refusedOnShelf }

func (fullOfRefused) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	switch r.GetPageToken() {
	case "":
		return &pb.ListEntriesResponse{Entries: []*pb.Entry{refusedEntry(), refusedEntry()}, NextPageToken: "7"}, nil
	case "7":
		return &pb.ListEntriesResponse{Entries: []*pb.Entry{refusedEntry(), onShelf()}, NextPageToken: "3"}, nil
	}
	return nil, status.Error(codes.Internal, "nobody wants it")
}

// TestAChainBehindWhatWasRefused: a chain that is there is not denied for the refused questions of its rig, however many.
func TestAChainBehindWhatWasRefused(t *testing.T) {
	address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, fullOfRefused{}) })
	_, out, errs := typed(t, address, "entries show heron/97")
	assert.Contains(t, strings.Join(strings.Fields(out+errs), " "), "there is no entry 97 in chain heron (the last is 5)")
}

// pages is a record of three pages, the newest entries first.
type pages struct{ shelf }

func (pages) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	entry := func(n uint64, asker, sentence string) *pb.Entry {
		return &pb.Entry{Receipt: &pb.Receipt{Chain: "heron", Number: n, RecordTime: timestamppb.New(time.Date(2026, 11, 14, 21, int(n), 0, 0, time.UTC))}, Asker: asker, Sentence: sentence, Kind: pb.EntryKind_ENTRY_KIND_REPORTED}
	}
	switch r.GetPageToken() {
	case "":
		return &pb.ListEntriesResponse{Entries: []*pb.Entry{entry(9, "R. Alder", "Locked"), entry(8, "program", "A sample was taken in.")}, NextPageToken: "second"}, nil
	case "second":
		return &pb.ListEntriesResponse{Entries: []*pb.Entry{entry(7, "program", "A sample was taken in.")}, NextPageToken: "third"}, nil
	}
	return &pb.ListEntriesResponse{Entries: []*pb.Entry{entry(2, "program", "homed (attested by R. Alder)"), entry(1, "V. Elm", "Locked")}}, nil
}

// TestEntriesOfOnePersonAreFound: what a person did is found over all pages, by who told it or by the sentence; what was left out is told, too.
func TestEntriesOfOnePersonAreFound(t *testing.T) {
	address := listening(t, func(g *grpc.Server) {
		pb.RegisterRecordServiceServer(g, pages{})
		pb.RegisterRigServiceServer(g, shelf{})
		pb.RegisterRuleServiceServer(g, shelf{})
	})
	code, out, errs := typed(t, address, `entries list --says ald`)
	require.Equal(t, exitDone, code, errs)
	assert.Equal(t, "2026-11-14 21:02:00 UTC heron/2 reported homed (attested by R. Alder) 2026-11-14 21:09:00 UTC heron/9 reported Locked", strings.Join(strings.Fields(out), " "))
	_, out, _ = typed(t, address, `entries list --count 1 --says ALDER`)
	assert.Contains(t, out, "EARLIER ONES MATCH TOO; they are listed with --before 2026-11-14T21:09:00Z")
	assert.NotContains(t, out, "heron/2")
	_, out, _ = typed(t, address, `entries list --says nobody`)
	assert.Equal(t, "NO ENTRIES match.\n", out)
	code, _, errs = typed(t, address, `entries export --says alder`)
	assert.Equal(t, exitUsage, code, errs)
}

// TestStartsAreListedOneByOne: the service began three times with no stop between them; when, is what is asked.
func TestStartsAreListedOneByOne(t *testing.T) {
	start := func(kind pb.EntryKind) *pb.Entry {
		return &pb.Entry{Receipt: &pb.Receipt{Chain: "service"}, Kind: kind, Asker: "keepclear", Sentence: "The service begins, for heron."}
	}
	assert.False(t, alike(start(pb.EntryKind_ENTRY_KIND_SERVICE), start(pb.EntryKind_ENTRY_KIND_SERVICE)))
	assert.True(t, alike(start(pb.EntryKind_ENTRY_KIND_REPORTED), start(pb.EntryKind_ENTRY_KIND_REPORTED)), "what a program reports again and again is one line")
}

// gone lists three entries and then answers nothing more.
type gone struct {
	shelf
	asked *int
}

func (g gone) ListEntries(context.Context, *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	return &pb.ListEntriesResponse{Entries: []*pb.Entry{onShelf(), onShelf(), onShelf()}}, nil
}

func (g gone) GetEntry(context.Context, *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	*g.asked++
	return nil, status.Error(codes.DeadlineExceeded, "no answer within 20s")
}

// A service that hangs after the list is not waited for at each of its lines.
func TestAListWaitsOnceForAServiceThatHangs(t *testing.T) {
	asked := 0
	address := listening(t, func(g *grpc.Server) {
		pb.RegisterRecordServiceServer(g, gone{asked: &asked})
		pb.RegisterRigServiceServer(g, shelf{})
	})
	code, out, errs := typed(t, address, "entries list")
	assert.Equal(t, exitDone, code, errs)
	assert.Equal(t, 3, strings.Count(out, "heron/5  ALLOW"), "all three are listed, each by itself: what was asked is not known")
	assert.Equal(t, 1, asked)
}

// TestWhyAnAllowWasAllowedIsShown: who asks the next morning reads by what each rule passed, on what sample, who was there and what leave was given.
func TestWhyAnAllowWasAllowedIsShown(t *testing.T) {
	lowest := -3.5
	floor := &pb.Finding{RuleId: "sky/floor", Effect: pb.Effect_EFFECT_PASS, Limit: num(-3), Fact: &pb.Fact{Name: "altitude_min_deg", Value: &pb.Fact_Number{Number: lowest}, About: []string{"the start"}}}
	moving := pb.Motion_MOTION_AT_REST
	entry := &pb.Entry{Content: &pb.Entry_Asked{Asked: &pb.Asked{
		Request: &pb.AskRequest{AttendedBy: "A. Person", Sample: &pb.Sample{Motion: &moving, Readings: []*pb.AxisReading{{Source: pb.PoseSource_POSE_SOURCE_MOTOR_COUNT, Axes: pairAt(20, 40)}},
			Belief: &pb.Belief{Sky: &pb.SkyPosition{RaDeg: num(12.25), DecDeg: num(-50)}}}},
		Response: &pb.AskResponse{Leave: &pb.AskResponse_Permit{Permit: &pb.Permit{PermitId: "permit-7"}},
			Judgement: &pb.Judgement{Findings: []*pb.Finding{floor, {RuleId: "roof/state", Effect: pb.Effect_EFFECT_NOT_APPLICABLE}, {RuleId: "lock/none", Effect: pb.Effect_EFFECT_PASS}}}},
	}}}
	var out bytes.Buffer
	k := &call{out: &out}
	k.printAsked(entry.GetAsked())
	for _, want := range []string{"attended by A. Person", "at rest, axes (20.0°, 40.0°) by motor count", "belief at right ascension 12.250°, declination -50.000°", "permit permit-7",
		"pass  sky/floor                altitude_min_deg -3.5, limit -3", "pass  lock/none"} {
		assert.Contains(t, out.String(), want)
	}
	assert.NotContains(t, out.String(), "roof/state", "it was not asked")
	out.Reset()
	k.printEntry(&pb.Entry{Content: &pb.Entry_Report{Report: &pb.ReportRequest{Sample: entry.GetAsked().GetRequest().GetSample()}}})
	assert.Contains(t, out.String(), "with a sample of 1970-01-01 00:00:00.0, at rest, axes (20.0°, 40.0°) by motor count, belief at right ascension 12.250°, declination -50.000°")
	out.Reset()
	k.printAsked(&pb.Asked{})
	assert.Contains(t, out.String(), "attended by nobody, as told")
	assert.Contains(t, out.String(), "no sample was sent with it")
}

// long is a record of one night: a program that asked again and again, then another hold, then the same as at first.
type long struct {
	shelf
	filter **pb.EntryFilter
	token  string
}

func (l long) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	*l.filter = r.GetFilter()
	out := &pb.ListEntriesResponse{NextPageToken: l.token}
	for number := uint64(9); number >= 5; number-- {
		e := onShelf()
		e.Kind, e.Verdict, e.Receipt.Number = pb.EntryKind_ENTRY_KIND_REPORTED, pb.Verdict_VERDICT_UNSPECIFIED, number
		e.Sentence = map[bool]string{true: "The clutch was opened.", false: "A sample was taken in."}[number == 8]
		e.Receipt.RecordTime = timestamppb.New(time.Date(2026, 11, 15, 2, 10, int(number), 5e6, time.UTC))
		out.Entries = append(out.Entries, e)
	}
	return out, nil
}

// What repeats itself is one line with a count, and a list that was cut off at its count says how to go on.
func TestAListOfANight(t *testing.T) {
	var got *pb.EntryFilter
	for _, token := range []string{"", "4"} {
		address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, long{filter: &got, token: token}) })
		code, out, errs := typed(t, address, "entries list --rig heron --from 2026-11-15T02:10:00Z --before 2026-11-15T04:40:00+01:00")
		require.Equal(t, exitDone, code, errs)
		assert.Equal(t, time.Date(2026, 11, 15, 2, 10, 0, 0, time.UTC), got.GetFromTime().AsTime())
		assert.Equal(t, time.Date(2026, 11, 15, 3, 40, 0, 0, time.UTC), got.GetBeforeTime().AsTime())
		want := "2026-11-15 02:10:05 UTC  heron/5  reported  A sample was taken in.\n" +
			"      and 2 more like it, the last 02:10:07 UTC  heron/7\n" +
			"2026-11-15 02:10:08 UTC  heron/8  reported  The clutch was opened.\n" +
			"2026-11-15 02:10:09 UTC  heron/9  reported  A sample was taken in.\n"
		if token != "" {
			want = "(EARLIER ONES MATCH TOO; they are listed with --before\n            2026-11-15T02:10:05.005Z)\n" + want
		}
		assert.Equal(t, want, out)
	}
}

// Entries are alike only where all that a line says is, but for when.
func TestWhatIsAlike(t *testing.T) {
	home := &pb.Entry_Asked{Asked: &pb.Asked{Request: &pb.AskRequest{Action: &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}}}}
	entry := func(change func(*pb.Entry)) *pb.Entry {
		e := onShelf()
		e.Verdict, e.Kind, e.Content = pb.Verdict_VERDICT_DENY, pb.EntryKind_ENTRY_KIND_ASKED, home
		change(e)
		return e
	}
	plain := entry(func(*pb.Entry) {})
	assert.True(t, alike(plain, entry(func(e *pb.Entry) { e.Receipt.Number = 6 })))
	for name, change := range map[string]func(*pb.Entry){
		"kind":     func(e *pb.Entry) { e.Kind = pb.EntryKind_ENTRY_KIND_REHEARSED },
		"chain":    func(e *pb.Entry) { e.Receipt.Chain = "wren" },
		"rig":      func(e *pb.Entry) { e.Rig = "wren" },
		"asker":    func(e *pb.Entry) { e.Asker = "another" },
		"verdict":  func(e *pb.Entry) { e.Verdict = pb.Verdict_VERDICT_HOLD },
		"sentence": func(e *pb.Entry) { e.Sentence = "Another." },
		"action":   func(e *pb.Entry) { e.Content = nil },
		"order, which a line does not tell": func(e *pb.Entry) {
			e.Content = &pb.Entry_Asked{Asked: &pb.Asked{Request: &pb.AskRequest{Action: &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{Order: new(pb.AxisOrder)}}}}}}
		},
	} {
		assert.False(t, alike(plain, entry(change)), name)
	}
	for name, change := range map[string]func(*pb.Entry){
		"leave is given by each allow":  func(e *pb.Entry) { e.Verdict = pb.Verdict_VERDICT_ALLOW },
		"a rehearsal is of many steps":  func(e *pb.Entry) { e.Kind = pb.EntryKind_ENTRY_KIND_REHEARSED },
		"what was asked cannot be read": func(e *pb.Entry) { e.Content = nil },
	} {
		assert.False(t, alike(entry(change), entry(change)), name)
	}
	assert.True(t, alike(entry(func(e *pb.Entry) { e.Verdict, e.Content = 0, nil }), entry(func(e *pb.Entry) { e.Verdict, e.Content = 0, nil })), "what is no answer asked nothing")
}

// The last of what repeats itself is told with its day where that is another than the first's.
func TestRepeatsOverMidnight(t *testing.T) {
	var out bytes.Buffer
	k := &call{out: &out}
	var r repeats
	for number, at := range []time.Time{time.Date(2026, 11, 14, 22, 0, 0, 0, time.UTC), time.Date(2026, 11, 15, 22, 0, 0, 0, time.UTC)} {
		e := onShelf()
		e.Verdict, e.Kind = pb.Verdict_VERDICT_UNSPECIFIED, pb.EntryKind_ENTRY_KIND_REPORTED
		e.Receipt.Number, e.Receipt.RecordTime = uint64(number+1), timestamppb.New(at)
		r.add(k, e)
	}
	r.end(k)
	assert.Contains(t, out.String(), "and 1 more like it, the last 2026-11-15 22:00:00 UTC  heron/2")
}

// A time of day is the last that has been, or the first after another; whose clock has to be told.
func TestTimesOfDayOnRecord(t *testing.T) {
	now := time.Date(2026, 11, 15, 6, 30, 0, 0, time.FixedZone("", 3600)) // 5:30 UTC
	k := &call{now: func() time.Time { return now }}
	from := timestamppb.New(time.Date(2026, 11, 14, 23, 10, 0, 0, time.UTC))
	for _, c := range []struct {
		s     string
		after *timestamppb.Timestamp
		want  time.Time
	}{
		{"05:30Z", nil, time.Date(2026, 11, 15, 5, 30, 0, 0, time.UTC)},
		{"05:31Z", nil, time.Date(2026, 11, 14, 5, 31, 0, 0, time.UTC)},
		{"02:10Z", nil, time.Date(2026, 11, 15, 2, 10, 0, 0, time.UTC)},
		{"02:10Z", from, time.Date(2026, 11, 15, 2, 10, 0, 0, time.UTC)},
		{"23:11Z", from, time.Date(2026, 11, 14, 23, 11, 0, 0, time.UTC)},
		{"23:10Z", from, time.Date(2026, 11, 15, 23, 10, 0, 0, time.UTC)},
		{"2026-11-14 14:45:28 UTC", nil, time.Date(2026, 11, 14, 14, 45, 28, 0, time.UTC)},
		{"02:10:07 UTC", nil, time.Date(2026, 11, 15, 2, 10, 7, 0, time.UTC)},
		{"02:10:07Z", from, time.Date(2026, 11, 15, 2, 10, 7, 0, time.UTC)},
		{"05:30:01Z", nil, time.Date(2026, 11, 14, 5, 30, 1, 0, time.UTC)},
	} {
		at, err := k.onRecord("from", c.s, c.after)
		require.NoError(t, err, c.s)
		assert.Equal(t, c.want, at.AsTime(), c.s)
	}
	for _, s := range []string{"02:10", "yesterday", "24:00Z", "2026-11-14", "2026-11-14 14:45:28", "02:10:07"} {
		_, err := k.onRecord("before", s, nil)
		assert.ErrorContains(t, err, `--before "`+s+`" is no instant`, s)
	}
	for line, says := range map[string]string{
		"list --from 2026-11-15T02:10:00Z --before 2026-11-15T02:10:00Z": "is not later than --from",
		"follow --from 02:10Z": "takes no --from",
	} {
		code, _, errs := typed(t, "127.0.0.1:1", "entries "+line)
		assert.Equal(t, exitUsage, code, line)
		assert.Contains(t, errs, says, line)
	}
}
