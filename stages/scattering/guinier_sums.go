package scattering

// sums are running sums over the usable points, with x = q² in units of its
// largest value and y = ln I about its mean, so that a fit over any range costs
// the same few operations. Differences of running sums lose digits where a range
// is narrow; they decide where a range ends, never what is reported.
type sums struct{ w, x, xx, xxx, y, xy, yy float64 }

// accumulate fills w.sums, one entry more than there are points.
func (w *Workspace) accumulate(known bool) {
	n := len(w.x)
	if cap(w.sums) < n+1 {
		w.sums = make([]sums, n+1)
	}
	w.sums = w.sums[:n+1]
	mean := 0.0
	for _, y := range w.y {
		mean += y
	}
	mean /= float64(n)
	unit := w.x[n-1]
	var t sums
	w.sums[0] = t
	for i, x := range w.x {
		wt := 1.0
		if known {
			wt = 1 / (w.s[i] * w.s[i])
		}
		x, y := x/unit, w.y[i]-mean
		wx := wt * x
		t.w += wt
		t.x += wx
		t.xx += wx * x
		t.xxx += wx * x * x
		t.y += wt * y
		t.xy += wx * y
		t.yy += wt * y * y
		w.sums[i+1] = t
	}
	w.unit, w.mean = unit, mean
}

// lineFit is a weighted straight line over a range of points, in q² and ln I.
type lineFit struct {
	n             int
	sw            float64 // Σ weights
	xm, ym, x2m   float64 // weighted means of x, y, x²
	sxx           float64 // Σ w(x−xm)²
	slope, slope2 float64 // of y, and of x², on x
	chi2          float64 // Σ w·residual²
}

// at is the line's value.
func (f *lineFit) at(x float64) float64 { return f.ym + f.slope*(x-f.xm) }

// scatter says whether the noise is taken from the scatter about the line.
func (f *lineFit) scatter(known bool) bool { return !known || f.chi2 > float64(f.n-2) }

// noise is the variance of unit weight.
func (f *lineFit) noise(known bool) float64 {
	v := f.chi2 / float64(max(1, f.n-2))
	if known {
		return max(1, v)
	}
	return max(v, lnFloor*lnFloor)
}

// fit fits the points s..e, inclusive. For one point only the means are set.
func (w *Workspace) fit(s, e int) lineFit {
	a, b := &w.sums[s], &w.sums[e+1]
	sw := b.w - a.w
	xm, ym, x2m := (b.x-a.x)/sw, (b.y-a.y)/sw, (b.xx-a.xx)/sw
	unit := w.unit
	f := lineFit{n: e - s + 1, sw: sw, xm: xm * unit, ym: ym + w.mean, x2m: x2m * unit * unit}
	if f.n < 2 {
		return f
	}
	sxx := b.xx - a.xx - sw*xm*xm
	sxy := b.xy - a.xy - sw*xm*ym
	slope := sxy / sxx
	f.chi2 = max(0, b.yy-a.yy-sw*ym*ym-slope*sxy)
	f.sxx = sxx * unit * unit
	f.slope = slope / unit
	f.slope2 = (b.xxx - a.xxx - sw*xm*x2m) / sxx * unit
	return f
}
