package pipeline

import (
	"cmp"
	"slices"
	"strings"
)

// nuTerm is one independent part of an uncertainty with its degrees of freedom (0: infinite).
type nuTerm struct {
	group string // terms of one group come from one estimate of a variance or covariance
	x, nu float64
}

// effectiveNu combines degrees of freedom by the Welch–Satterthwaite formula (JCGM 100:2008, G.4.1), 0 for infinite. Terms of one group
// with equal degrees of freedom count as one: they are directions of one covariance that was estimated with that many, and a
// linear combination of the numbers it belongs to has an estimated variance with as many, not with more.
func effectiveNu(terms []nuTerm) float64 {
	slices.SortStableFunc(terms, func(a, b nuTerm) int { return cmp.Or(cmp.Compare(a.group, b.group), cmp.Compare(a.nu, b.nu)) })
	all, rest, sum := 0.0, 0.0, 0.0
	for i, t := range terms {
		all += t.x * t.x
		sum += t.x * t.x
		if last := i == len(terms)-1; last || t.group == "" || terms[i+1].group != t.group || terms[i+1].nu != t.nu {
			if t.nu > 0 {
				rest += sum * sum / t.nu
			}
			sum = 0
		}
	}
	if rest == 0 {
		return 0
	}
	return all * all / rest
}

// estimate names what a source was estimated with: STAGE[ITEM] for its directions STAGE[ITEM].1, .2, …
func estimate(src string) string {
	if at := strings.LastIndex(src, "]."); at >= 0 && strings.Trim(src[at+2:], "0123456789") == "" {
		return src[:at+1]
	}
	return src
}
