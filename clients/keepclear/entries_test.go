package main

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// shelf is a record with one entry, heron/5, of the rig that there is.
type shelf struct {
	pb.UnimplementedRecordServiceServer
	pb.UnimplementedRigServiceServer
	pb.UnimplementedRuleServiceServer
}

func (shelf) GetEntry(context.Context, *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	return nil, status.Error(codes.NotFound, "there is no such entry")
}

func (shelf) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	f := r.GetFilter()
	if len(f.GetVerdicts())+len(f.GetRuleIds()) > 0 || len(f.GetRigs()) > 0 && f.GetRigs()[0] != "heron" {
		return &pb.ListEntriesResponse{}, nil
	}
	return &pb.ListEntriesResponse{Entries: []*pb.Entry{{Rig: "heron", Receipt: &pb.Receipt{Chain: "heron", Number: 5}, Asker: "night program", Verdict: pb.Verdict_VERDICT_ALLOW,
		Sentence: "Every rule that applies passed.", Content: &pb.Entry_Asked{Asked: &pb.Asked{Request: &pb.AskRequest{Action: &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}}}}}}}, nil
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
