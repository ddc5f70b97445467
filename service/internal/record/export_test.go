package record

import "keepclear.example/keepclear/service/internal/store"

// ReadersFor is how many read so many chains side by side.
var ReadersFor = readersFor

// HeadOf reads the head of a row.
func HeadOf(row store.Row) (Entry, error) { return fromRow(row, false) }
