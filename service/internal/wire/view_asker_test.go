package wire_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/wire"
)

// TestNobodyToldAStateEntry: an entry of the service itself has no asker; of a question without a name there is one, who is unnamed.
func TestNobodyToldAStateEntry(t *testing.T) {
	for kind, want := range map[string]string{"state": "", state.Service: "", state.Asked: "unnamed"} {
		e, err := wire.Entry(record.Entry{State: kind == "state", Index: record.Index{Kind: kind}}, false)
		require.NoError(t, err)
		assert.Equal(t, want, e.GetAsker(), kind)
		assert.NotEqual(t, pb.EntryKind_ENTRY_KIND_UNSPECIFIED, e.GetKind(), kind)
	}
}
