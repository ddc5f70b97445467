package record

import "keepclear.example/keepclear/service/internal/store"

// HeadOf reads the head of a row.
func HeadOf(row store.Row) (Entry, error) { return fromRow(row, false) }
