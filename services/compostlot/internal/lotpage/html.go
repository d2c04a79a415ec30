package lotpage

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"strings"
	"time"

	_ "embed"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

//go:embed page.html
var pageHTML string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"percent": func(w float64) string { return fmt.Sprintf("%.0f%%", 100*w) },
	"svg":     (*chart).svg,
}).Parse(pageHTML))

// HTML writes the report as one document without outside parts.
func HTML(r *compostlotv1.LotReport, c *compostlotv1.LotChart, zone *time.Location) ([]byte, error) {
	var out bytes.Buffer
	if err := pageTemplate.Execute(&out, compose(r, c, zone)); err != nil {
		return nil, fmt.Errorf("lot report as HTML: %w", err)
	}
	return out.Bytes(), nil
}

// svg draws the chart in the page. All text in it is escaped.
func (c *chart) svg() template.HTML {
	const width, height = 760, 180
	s := &svgCanvas{}
	c.draw(s, 0, 0, width, height)
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 0 %d %d" role="img" aria-label="%s">%s</svg>`, width, height, html.EscapeString(c.Title), s.String()))
}

// svgCanvas writes elements of SVG.
type svgCanvas struct{ strings.Builder }

func (s *svgCanvas) points(x, y []float64) string {
	var b strings.Builder
	for i := range x {
		fmt.Fprintf(&b, "%.1f,%.1f ", x[i], y[i])
	}
	return strings.TrimSpace(b.String())
}

func (s *svgCanvas) line(x, y []float64, colour string, width float64, dashed bool) {
	dash := ""
	if dashed {
		dash = ` stroke-dasharray="4 3"`
	}
	fmt.Fprintf(s, `<polyline points="%s" fill="none" stroke="%s" stroke-width="%g"%s/>`, s.points(x, y), colour, width, dash)
}

func (s *svgCanvas) area(x, y []float64, colour string) {
	fmt.Fprintf(s, `<polygon points="%s" fill="%s" fill-opacity="0.18"/>`, s.points(x, y), colour)
}

func (s *svgCanvas) text(x, y float64, text, colour, anchor string) {
	fmt.Fprintf(s, `<text x="%.1f" y="%.1f" fill="%s" text-anchor="%s" font-size="%g">%s</text>`, x, y, colour, anchor, s.textHeight(), html.EscapeString(text))
}

func (s *svgCanvas) blank(x, y, width, height float64) {
	fmt.Fprintf(s, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="#fff" fill-opacity="0.85"/>`, x, y, width, height)
}

func (s *svgCanvas) textHeight() float64 { return 10 }

// textWidth is an estimate: the browser chooses the font.
func (s *svgCanvas) textWidth(text string) float64 { return 5.4 * float64(len([]rune(text))) }
