package record

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/store"
)

// What goes wrong at the opening says so once: of a file's error what was done to it then is told by itself only where it was the opening.
func TestAnErrorAtTheOpeningSaysSoOnce(t *testing.T) {
	plain := errors.New("no such chain")
	for name, err := range map[string]error{
		"none of a file's":   plain,
		"of the opening":     &store.FileError{Class: plain, Path: "night.keepclear", Doing: doingOpen},
		"of something else":  &store.FileError{Class: plain, Path: "night.keepclear", Doing: "reading the heads"},
		"of one within that": errors.Join(&store.FileError{Class: plain, Path: "night.keepclear", Doing: "reading the heads"}),
	} {
		got := openingIt(err)
		assert.Equal(t, 1, strings.Count(got.Error(), doingOpen), "%s: %v", name, got)
		assert.ErrorIs(t, got, err, name)
	}
}
