package reach

// queue is a binary heap of cells, the one with the least key first. (Not container/heap, which would box every cell.)
// Source: Williams, Algorithm 232: Heapsort, Comm. ACM 7 (1964) 347.
type queue []cell

func (q *queue) push(c cell) {
	h := append(*q, c)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 2
		if h[up].key <= h[i].key {
			break
		}
		h[up], h[i] = h[i], h[up]
		i = up
	}
	*q = h
}

// pop takes the first cell of a queue that is not empty.
func (q *queue) pop() cell {
	h := *q
	top, last := h[0], len(h)-1
	h[0] = h[last]
	h = h[:last]
	i := 0
	for {
		down := 2*i + 1
		if down >= last {
			break
		}
		if down+1 < last && h[down+1].key < h[down].key {
			down++
		}
		if h[i].key <= h[down].key {
			break
		}
		h[i], h[down] = h[down], h[i]
		i = down
	}
	*q = h
	return top
}
