package dimacs

// plainArc takes in a line in its plainest form, and says whether it did: the
// letter a and five numbers, one blank before each, all in range and of at most
// mostDigits digits. Nearly every line of a large file is one. Any other is
// left to parse, which also knows what to say about it.
func (p *parser) plainArc(line []byte) bool {
	q := &p.problem
	if len(line) < shortestArc-1 || line[0] != 'a' || len(q.From) == p.arcs {
		return false
	}
	var x [5]int64
	at := 1
	for k := range x {
		if at+1 >= len(line) || line[at] != ' ' {
			return false
		}
		at++
		negative := line[at] == '-'
		if negative {
			at++
		}
		first, n := at, int64(0)
		for at < len(line) {
			d := line[at] - '0'
			if d > 9 {
				break
			}
			n = 10*n + int64(d)
			at++
		}
		if digits := at - first; digits == 0 || digits > mostDigits {
			return false
		}
		if negative {
			n = -n
		}
		x[k] = n
	}
	if at < len(line) && line[at] == '\r' {
		at++
	}
	if at < len(line) && line[at] != '\n' || at+1 < len(line) {
		return false
	}
	nodes := uint64(len(p.problem.Supply))
	from, to, low, capacity, cost := uint64(x[0]-1), uint64(x[1]-1), x[2], x[3], x[4]
	if from >= nodes || to >= nodes || low < 0 || low > capacity || low > 0 && q.Low == nil {
		return false
	}
	if q.Low != nil {
		q.Low = append(q.Low, low)
	}
	q.From = append(q.From, int32(from))
	q.To = append(q.To, int32(to))
	q.Cap = append(q.Cap, capacity)
	q.Cost = append(q.Cost, cost)
	return true
}

// mostDigits fit in 64 bits, whatever they are.
const mostDigits = 18
