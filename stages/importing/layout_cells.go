package importing

// findCells finds how the lines are split into cells: the way that gives most numbers, and least words, in some lines spread over the file.
func findCells(data []byte) (layout, byte) {
	lines := sampleLines(data)
	score := func(l layout, group byte) (points, grouped int) {
		sc := gridScanner{data: data, layout: l, group: group}
		last := 0
		for _, at := range lines {
			if _, kind := sc.line(at); kind != lineNumeric || len(sc.cells) < 2 {
				last = 0
				continue
			}
			points += 4 * (sc.numbers - sc.words)
			if len(sc.cells) == last {
				points += 2 * last // a table has as many cells on every line
			}
			last = len(sc.cells)
			grouped += sc.grouped
		}
		return points, grouped
	}
	best, points := layouts[0], -1<<30
	for _, l := range layouts {
		if p, _ := score(l, 0); p > points {
			best, points = l, p
		}
	}
	if best.sep == 0 {
		if p, _ := score(layout{'\t', best.dec}, 0); p == points {
			best.sep = '\t' // which tells empty cells from none
		}
	}
	bestGroup := byte(0)
	if l, ok := groupedBetweenTabs(data, lines, best); ok {
		return l, ' '
	}
	for _, l := range layouts {
		for _, group := range [...]byte{',', '.', '\'', ' '} {
			if group == l.dec || group == ' ' && l.sep == 0 {
				continue
			}
			if p, grouped := score(l, group); grouped > 0 && p > points {
				best, points, bestGroup = l, p, group
			}
		}
	}
	return best, bestGroup
}

// groupedBetweenTabs says whether lines that could be parted at blanks are parted by tabs, with blanks between thousands: `1 234,5	12`.
func groupedBetweenTabs(data []byte, lines []int, best layout) (layout, bool) {
	if best.sep != 0 && best.sep != '\t' {
		return layout{}, false
	}
	for _, dec := range [...]byte{'.', ','} {
		by := gridScanner{data: data, layout: best}
		sc := gridScanner{data: data, layout: layout{'\t', dec}, group: ' '}
		grouped, all := 0, true
		for _, at := range lines {
			if _, kind := by.line(at); kind != lineNumeric || by.words > 0 || len(by.cells) < 2 {
				continue
			}
			_, kind := sc.line(at)
			all = all && kind == lineNumeric && sc.words == 0 && len(sc.cells) > 1
			grouped += sc.grouped
		}
		if all && grouped > 0 {
			return sc.layout, true
		}
	}
	return layout{}, false
}

// sampleLines gives the starts of the first 200 lines, and of as many spread over the rest.
func sampleLines(data []byte) []int {
	const most, reach = 200, 1 << 16
	var out []int
	i := 0
	for i < len(data) && len(out) < most {
		out = append(out, i)
		i = lineEnd(data, i)
	}
	rest := len(data) - i
	for k := 0; k < most && rest > 0; k++ {
		at := i + rest/most*k
		stop := min(len(data), at+reach)
		for at < stop && data[at-1] != '\n' && data[at-1] != '\r' {
			at++
		}
		if at < stop && at > out[len(out)-1] {
			out = append(out, at)
		}
	}
	return out
}
