package server

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// exportColumns are the columns of the exported calendar.
var exportColumns = []string{
	"crop_id", "room_id", "farm_id", "programme_id", "programme_version", "species", "state",
	"step", "start_date", "end_date", "earliest_date", "latest_date", "actual_start_date",
}

// ExportCalendar returns the crops of a span of days as CSV, a line for each step.
func (s *Server) ExportCalendar(ctx context.Context, req *schedulingv1.ExportCalendarRequest) (*schedulingv1.Content, error) {
	first, last, err := days(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	farmID, err := visibleFarm(identity.Must(ctx), req.GetFarmId())
	if err != nil {
		return nil, err
	}
	var lines [][]string
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.ListCalendar(ctx, tx, farmID, first, last)
		if err != nil {
			return err
		}
		programmes, err := programmesOf(ctx, tx, crops)
		if err != nil {
			return err
		}
		lines = [][]string{exportColumns}
		for _, c := range crops {
			lines = append(lines, exportLines(c, programmes[c.Programme])...)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var text bytes.Buffer
	w := csv.NewWriter(&text)
	w.UseCRLF = true // RFC 4180, section 2
	if err := w.WriteAll(lines); err != nil {
		return nil, fmt.Errorf("write the calendar: %w", err)
	}
	name := fmt.Sprintf("calendar-%s-%s.csv", first, last)
	return &schedulingv1.Content{ContentType: "text/csv; charset=utf-8; header=present", Content: text.Bytes(), FileName: name}, nil
}

func exportLines(c store.Crop, p *programme.Programme) [][]string {
	return each(c.Stages, func(st store.Stage) []string {
		actual := ""
		if st.Actual != nil {
			actual = st.Actual.String()
		}
		return []string{
			c.ID, c.RoomID, c.FarmID, c.Programme.ID, fmt.Sprint(c.Programme.Version), plain(p.Species), string(c.State),
			string(st.Kind), st.Start.String(), st.End.String(), st.Earliest.String(), st.Latest.String(), actual,
		}
	})
}

// plain keeps spreadsheets from taking a word for a formula.
func plain(word string) string {
	if strings.HasPrefix(strings.TrimSpace(word), "=") || strings.ContainsAny(word[:min(1, len(word))], "+-@\t\r") {
		return "'" + word
	}
	return word
}

// days reads a span of days, of at most maxSpan.
func days(from, to string) (first, last calendar.Date, err error) {
	if first, err = dateFrom(from, "from_date"); err != nil {
		return 0, 0, err
	}
	if last, err = dateFrom(to, "to_date"); err != nil {
		return 0, 0, err
	}
	if n := last.Sub(first); n < 0 || n > maxSpan {
		return 0, 0, fault.InvalidField("to_date", "lies %d days after from_date; give 0 to %d days", n, maxSpan)
	}
	return first, last, nil
}
