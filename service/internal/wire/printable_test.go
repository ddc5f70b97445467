package wire

import (
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
)

// The short way for plain characters says what the tables say, for every character there is.
func TestUnprintableGoesByTheTables(t *testing.T) {
	for r := rune(0); r <= unicode.MaxRune; r++ {
		if want := unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control); unprintable(r) != want {
			require.Equal(t, want, unprintable(r), "%U", r)
		}
	}
}
