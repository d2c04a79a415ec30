package lotpage

import "strings"

// printable replaces what the PDF's font and its 16-bit text cannot hold: signs beyond the
// basic plane and control characters.
func (p *page) printable() {
	for _, text := range []*string{&p.Title, &p.Subtitle, &p.Status, &p.Foot} {
		*text = printable(*text)
	}
	for _, list := range [][]string{p.Facts, p.Cautions} {
		printableAll(list)
	}
	for i := range p.Tables {
		t := &p.Tables[i]
		t.Title, t.More = printable(t.Title), printable(t.More)
		for _, r := range t.Rows {
			printableAll(r.Cells)
		}
	}
	for _, c := range p.Charts {
		for i := range c.series {
			c.series[i].name = printable(c.series[i].name)
		}
		for i := range c.limits {
			c.limits[i].text = printable(c.limits[i].text)
		}
	}
}

func printableAll(list []string) {
	for i := range list {
		list[i] = printable(list[i])
	}
}

func printable(text string) string {
	const unprintable = '?'
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < ' ' || r > 0xFFFD || r >= 0x7F && r < 0xA0:
			return unprintable
		default:
			return r
		}
	}, strings.ToValidUTF8(text, string(unprintable)))
}
