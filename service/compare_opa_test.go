package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/rules"
)

// judged is what our service made of one question: its facts, as an input for the stock server, and the effects that must come of them.
type judged struct {
	input   []byte
	effects map[string]string // of the rules that apply, by id
	kind    string
}

// judgedOf takes facts and findings out of an answer. Facts keep 15 digits, as our rules see them: more cost OPA twice the time.
func judgedOf(kind string, j *pb.Judgement, read []string) (judged, error) {
	all := map[string]any{}
	for _, f := range j.GetFacts() {
		switch v := f.GetValue().(type) {
		case *pb.Fact_Number:
			all[f.GetName()] = json.Number(strconv.FormatFloat(v.Number, 'g', 15, 64))
		case *pb.Fact_Word:
			all[f.GetName()] = v.Word
		case *pb.Fact_Truth:
			all[f.GetName()] = v.Truth
		}
	}
	in := map[string]any{}
	for _, name := range read {
		if v, ok := all[name]; ok {
			in[name] = v
		}
	}
	out := judged{kind: kind, effects: map[string]string{}}
	for _, f := range j.GetFindings() {
		if e, ok := map[pb.Effect]string{pb.Effect_EFFECT_PASS: "pass", pb.Effect_EFFECT_HOLD: "hold", pb.Effect_EFFECT_DENY: "deny"}[f.GetEffect()]; ok {
			out.effects[f.GetRuleId()] = e
		}
	}
	var err error
	out.input, err = json.Marshal(map[string]any{"input": in})
	return out, err
}

// opaArgs lays the rules and the limits of a rig out for the stock server, and says how to run it: the log of decisions on, nothing else
// logged.
func opaArgs(t testing.TB, m decide.Member, address string) []string {
	t.Helper()
	data := filepath.Join(t.TempDir(), "limits.json")
	tree := append(append([]byte(`{"limits":`), m.Limits.JSON()...), '}')
	require.NoError(t, os.WriteFile(data, tree, 0o600))
	policies, err := filepath.Abs("../policies")
	require.NoError(t, err)
	return []string{
		"run", "--server", "--addr", address, "--log-level", "error", "--set", "decision_logs.console=true", "--disable-telemetry",
		filepath.Join(policies, "rules"), filepath.Join(policies, "decide"), data,
	}
}

// readFacts are the names of the facts that the rules of a rig read.
func readFacts(m decide.Member) []string { return m.Rules.(*rules.Set).Facts() }

// opaClient asks the stock server over one connection that stays open.
type opaClient struct {
	http http.Client
	url  string
}

func newOPAClient(address string) *opaClient {
	return &opaClient{http: http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1}}, url: "http://" + address + "/v1/data/decide/findings"}
}

// ask asks for all findings on the facts of one question, and holds them against ours.
func (c *opaClient) ask(ctx context.Context, q judged) (time.Duration, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.url, bytes.NewReader(q.input))
	if err != nil {
		return 0, err
	}
	req.Header.Set("Content-Type", "application/json")
	began := time.Now()
	resp, err := c.http.Do(req)
	if err != nil {
		return 0, err
	}
	body, err := io.ReadAll(resp.Body)
	_ = resp.Body.Close()
	took := time.Since(began)
	if err != nil {
		return took, err
	}
	var out struct {
		Result map[string]struct{ Effect string }
	}
	if err := json.Unmarshal(body, &out); err != nil {
		return took, fmt.Errorf("%s: %w", body, err)
	}
	for id, want := range q.effects {
		if got := out.Result[id].Effect; got != want && id != "permit/one" {
			return took, fmt.Errorf("%s: %s is %q to the stock server and %q to ours", q.kind, id, got, want)
		}
	}
	return took, nil
}
