package rpc

// Judging adds to how many requests are being judged, and returns how many are then.
func (s *Server) Judging(more int32) int32 { return s.judging.Add(more) }
