package survey

// Draws sets the lot by which spots are drawn.
func (f *Folder) Draws(lot func(n int) int) { f.lot = lot }
