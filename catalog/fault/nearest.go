package fault

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// longest word, in characters, for which a neighbour is looked for: longer ones are no slips of the finger, and the
// distance costs their product
const longestWord = 64

// Nearest gives the word of words that a typist most likely meant by word, "" when none is near. Near is a distance
// (insertion, deletion, substitution, or exchange of neighbours, capitals ignored: the optimal string alignment distance
// of Damerau, Commun. ACM 7 (1964) 171, from memory) of at most a third of the word's length, rounded up, and at most 3;
// a single character has no neighbours but its own capital. Ties go to the word nearest in length, then nearer with
// capitals heeded, then first in alphabetical order, so the order of words does not matter.
func Nearest(word string, words []string) string {
	word = strings.TrimSpace(word)
	runes := []rune(word)
	if len(runes) == 0 || len(runes) > longestWord {
		return ""
	}
	limit := 0
	if len(runes) > 1 {
		limit = min((len(runes)+2)/3, 3)
	}
	folded := fold(runes)
	best, bestRank := "", [3]int{limit + 1}
	for _, w := range words {
		candidate := []rune(w)
		longer := max(len(candidate)-len(runes), len(runes)-len(candidate))
		if longer > limit {
			continue
		}
		rank := [3]int{distance(folded, fold(candidate)), longer, 0}
		if rank[0] > min(limit, bestRank[0]) {
			continue
		}
		rank[2] = distance(runes, candidate)
		if c := slices.Compare(rank[:], bestRank[:]); c < 0 || c == 0 && w < best {
			best, bestRank = w, rank
		}
	}
	return best
}

// Unknown gives the two texts of a fault about a word that is none of words: what was found (`unknown unit "mmoll"`), and
// the remedy (`did you mean "mmol/L"?`, or the words themselves when none is near and they are few).
func Unknown(what, word string, words []string) (found, remedy string) {
	found = "unknown " + what + " " + strconv.Quote(word)
	if near := Nearest(word, words); near != "" {
		return found, "did you mean " + strconv.Quote(near) + "?"
	}
	const few = 12
	if len(words) > 0 && len(words) <= few {
		return found, "use one of " + strings.Join(words, ", ")
	}
	return found, ""
}

func fold(word []rune) []rune {
	folded := make([]rune, len(word))
	for i, r := range word {
		folded[i] = unicode.ToLower(r)
	}
	return folded
}

// distance is the optimal string alignment distance of a and b.
func distance(a, b []rune) int {
	before, above, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range row {
		above[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(above[j]+1, row[j-1]+1, above[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(b)]
}
