package coopfiles

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzParse feeds any bytes to the reader of orders and readings. Whatever comes, it ends
// with rows that are of the documented form or with problems that name the file, never both.
func FuzzParse(f *testing.F) {
	f.Add([]byte("order_id,customer_id,delivery_date,product_id,packs\no,k,2026-01-02,p,1\n"))
	f.Add([]byte("\uFEFFlot_id,probe_id,kind,time,value\r\nl,p1,ph,2026-01-02T03:04:05Z,7.25\r\n"))
	f.Add([]byte("lot_id,probe_id,kind,time,value\nl,\"p\n1\",ph,2026-01-02T03:04:05+24:00,-0.001\n"))
	f.Add([]byte("\xff\xfeo\x00r\x00"))
	f.Add([]byte("packs,packs,\"order_id\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		orders, _, told := parse(orderTable, strings.NewReader(string(content)))
		checkParsed(t, told, len(orders))
		for _, o := range orders {
			if o.Line < 2 || o.Packs < 1 || o.Packs > 100_000 || !slug.MatchString(o.OrderID) || len(o.DeliveryDate) != len("2026-01-02") {
				t.Errorf("row %+v was taken", o)
			}
		}
		readings, _, told := parse(readingTable, strings.NewReader(string(content)))
		checkParsed(t, told, len(readings))
		for _, r := range readings {
			if r.Line < 2 || !utf8.ValidString(r.ProbeID) || r.Time.IsZero() || r.ValueThousandths > 1_000_000_000 || r.ValueThousandths < -1_000_000_000 {
				t.Errorf("row %+v was taken", r)
			}
		}
	})
}

func checkParsed(t *testing.T, told *collector, rows int) {
	t.Helper()
	problems := told.problems()
	if len(problems) > 0 && rows > 0 {
		t.Errorf("%d rows were taken beside %v", rows, problems)
	}
	if len(problems) > MaxProblems+1 {
		t.Errorf("%d problems told", len(problems))
	}
	for _, p := range problems {
		if p.File != told.file || p.Text == "" {
			t.Errorf("problem %+v does not say where or what", p)
		}
	}
}
