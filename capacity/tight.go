package capacity

// Tight names the kinds for whose own people week j may be too short, while the
// crew as a whole has the hours: nil where the whole crew's chance of being
// short is about that of any kind, within slightRise.
func (o Outcome) Tight(j int) []string {
	short := 0
	for i := range o.Arriving.N() {
		if o.Arriving.Path(i)[j] > o.Available[j]+enough {
			short++
		}
	}
	whole := float64(short) / float64(o.Arriving.N())
	var kinds []string
	worst := whole
	for _, s := range o.Skills {
		if o.ChanceShort[j]-whole >= slightRise && s.ChanceShort[j] > worst {
			worst, kinds = s.ChanceShort[j], s.Kinds
		}
	}
	return kinds
}
