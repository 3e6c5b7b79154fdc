package main

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// histogram is what came to a histogram of /metrics between two looks: bounds, and how many lie up to each.
type histogram struct {
	bounds, counts []float64
}

func newHistogram(name string, before, after map[string]float64) histogram {
	var h histogram
	for label := range after {
		text, is := strings.CutPrefix(label, "witnessmark_"+name+`_bucket{le="`)
		if !is {
			continue
		}
		bound, err := strconv.ParseFloat(strings.TrimSuffix(text, `"}`), 64)
		if err == nil { // the registry writes numbers
			h.bounds = append(h.bounds, bound)
		}
	}
	slices.Sort(h.bounds)
	for _, b := range h.bounds {
		text := strconv.FormatFloat(b, 'g', -1, 64)
		if math.IsInf(b, 1) {
			text = "+Inf"
		}
		label := "witnessmark_" + name + `_bucket{le="` + text + `"}`
		h.counts = append(h.counts, after[label]-before[label])
	}
	return h
}

// at is the value that a share of all lies below, between two bounds by proportion.
func (h histogram) at(share float64) time.Duration {
	if len(h.counts) == 0 || h.counts[len(h.counts)-1] == 0 {
		return 0
	}
	want := share * h.counts[len(h.counts)-1]
	i := slices.IndexFunc(h.counts, func(n float64) bool { return n >= want })
	low, below := 0.0, 0.0
	if i > 0 {
		low, below = h.bounds[i-1], h.counts[i-1]
	}
	high := h.bounds[i]
	if math.IsInf(high, 1) {
		high = low
	}
	part := 1.0
	if h.counts[i] > below {
		part = (want - below) / (h.counts[i] - below)
	}
	return time.Duration((low + (high-low)*part) * 1e9)
}
