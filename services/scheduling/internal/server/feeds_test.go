package server_test

import (
	"context"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func (r *rig) feed(t testing.TB, kind schedulingv1.FeedKind, target string) *schedulingv1.CreateFeedResponse {
	t.Helper()
	return must[*schedulingv1.CreateFeedResponse](t)(r.CreateFeed(r.office(t), &schedulingv1.CreateFeedRequest{RequestId: ids.New(), Kind: kind, TargetId: target}))
}

// gateway calls as the gateway does for somebody who only has an address.
func (r *rig) gateway(t testing.TB, coopID string) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: coopID, Role: identity.Service, Name: "feed"})
}

// events reads a feed and returns its events by UID.
func (r *rig) feedEvents(t testing.TB, secret string) map[string]*ics.VEvent {
	t.Helper()
	content := must[*schedulingv1.Content](t)(r.ReadFeed(r.gateway(t, r.coop.CoopID), &schedulingv1.ReadFeedRequest{Secret: secret}))
	if content.GetContentType() != "text/calendar; charset=utf-8" {
		t.Errorf("served as %s", content.GetContentType())
	}
	// RFC 5545 3.1: lines end with CRLF and have 75 octets at most.
	for _, line := range strings.Split(strings.TrimSuffix(string(content.GetContent()), "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
			t.Errorf("line %q of %d octets", line, len(line))
		}
	}
	cal, err := ics.ParseCalendar(strings.NewReader(string(content.GetContent())))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*ics.VEvent{}
	for _, e := range cal.Events() {
		if out[e.Id()] != nil {
			t.Errorf("two events %s", e.Id())
		}
		out[e.Id()] = e
	}
	return out
}

func property(e *ics.VEvent, name ics.ComponentProperty) string {
	if p := e.GetProperty(name); p != nil {
		return p.Value
	}
	return ""
}

// A grower's calendar in the phone: the events keep their UIDs when dates slip, and
// count up; what is called off is cancelled, not lost.
func TestFeedsFollowReality(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	off := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-09-07"))
	farm := r.feed(t, schedulingv1.FeedKind_FEED_KIND_FARM, "gorse-hill")
	before := r.feedEvents(t, farm.GetSecret())
	uid := crop.GetCropId() + "/casing@breakshare.example"
	if e := before[uid]; e == nil || property(e, ics.ComponentPropertyDtStart) != strings.ReplaceAll(stage(t, crop, casing).GetStartDate(), "-", "") {
		t.Fatalf("casing is %v", e)
	}

	r.clock.Advance(time.Hour)
	r.record(t, crop.GetCropId(), filling, "2026-04-10")
	must[*schedulingv1.Crop](t)(r.EndCrop(r.office(t), &schedulingv1.EndCropRequest{RequestId: ids.New(), CropId: off.GetCropId(), Date: "2026-07-01"}))
	after := r.feedEvents(t, farm.GetSecret())
	if len(after) != len(before) {
		t.Errorf("%d events, were %d", len(after), len(before))
	}
	e := after[uid]
	if e == nil || property(e, ics.ComponentPropertyDtStart) != strings.ReplaceAll(shifted(t, stage(t, crop, casing).GetStartDate(), 4), "-", "") ||
		property(e, ics.ComponentPropertySequence) <= property(before[uid], ics.ComponentPropertySequence) ||
		property(e, ics.ComponentPropertyDtstamp) <= property(before[uid], ics.ComponentPropertyDtstamp) {
		t.Errorf("casing after the slip is %v", e)
	}
	if got := property(after[off.GetCropId()+"/filling@breakshare.example"], ics.ComponentPropertyStatus); got != "CANCELLED" {
		t.Errorf("the crop called off is %s", got)
	}
	one := r.feed(t, schedulingv1.FeedKind_FEED_KIND_ROOM, "gorse-hill-1")
	if got := r.feedEvents(t, one.GetSecret()); len(got) != len(after) {
		t.Errorf("the room has %d events, its farm %d", len(got), len(after))
	}
	empty := r.feed(t, schedulingv1.FeedKind_FEED_KIND_ROOM, "elm-end-1")
	if got := r.feedEvents(t, empty.GetSecret()); len(got) > 0 {
		t.Errorf("an empty room has %d events", len(got))
	}

	published := slot("quarry-1", "quarry-end", "2026-03-10", phaseII, 25_000)
	r.hear(t, published, slot("moss-1", "moss-side", "2026-03-10", phaseII, 20_000))
	yard := r.feed(t, schedulingv1.FeedKind_FEED_KIND_YARD, "quarry-end")
	if got := r.feedEvents(t, yard.GetSecret()); len(got) != 1 || property(got["slot/quarry-1@breakshare.example"], ics.ComponentPropertyDtStart) != "20260310" {
		t.Errorf("the yard's events %v", got)
	}
	r.hear(t, &compostlotv1.SlotWithdrawn{Slot: published.GetSlot()})
	if got := property(r.feedEvents(t, yard.GetSecret())["slot/quarry-1@breakshare.example"], ics.ComponentPropertyStatus); got != "CANCELLED" {
		t.Errorf("the withdrawn slot is %s", got)
	}
}

// The address is private: nothing in the database gives it away, nobody guesses it,
// it belongs to one co-op, and it ends when it is revoked.
func TestFeedAddressesArePrivate(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	req := &schedulingv1.CreateFeedRequest{RequestId: ids.New(), Kind: schedulingv1.FeedKind_FEED_KIND_FARM, TargetId: "elm-end"}
	made := must[*schedulingv1.CreateFeedResponse](t)(r.CreateFeed(r.grower(t, "elm-end"), req))
	if len(made.GetSecret()) < 40 || made.GetPath() != "/feeds/"+r.coop.CoopID+"/"+made.GetSecret()+".ics" {
		t.Errorf("secret %q at %q", made.GetSecret(), made.GetPath())
	}
	again := must[*schedulingv1.CreateFeedResponse](t)(r.CreateFeed(r.grower(t, "elm-end"), req))
	if again.GetSecret() != "" || again.GetFeed().GetFeedId() != made.GetFeed().GetFeedId() {
		t.Errorf("asked again: %v", again)
	}
	err := pg.InReadTx(r.office(t), r.pool, r.coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		var found int
		err := tx.QueryRow(ctx, `SELECT (SELECT count(*) FROM feed f WHERE position(convert_to($1, 'UTF8') IN f.secret_hash) > 0 OR f::text LIKE '%' || $1 || '%')
			+ (SELECT count(*) FROM request_log l WHERE l::text LIKE '%' || $1 || '%' OR l::text LIKE '%' || encode(convert_to($1, 'UTF8'), 'hex') || '%')`, made.GetSecret()).Scan(&found)
		if found > 0 {
			t.Error("the secret stands in the database")
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	read := func(coopID, secret string) error {
		_, err := r.ReadFeed(r.gateway(t, coopID), &schedulingv1.ReadFeedRequest{Secret: secret})
		return err
	}
	if err := read(r.coop.CoopID, made.GetSecret()); err != nil {
		t.Error(err)
	}
	refused(t, read(r.coop.CoopID, made.GetSecret()+"x"), fault.NotFound, "NO_FEED", "")
	refused(t, read(testkit.Coop().CoopID, made.GetSecret()), fault.NotFound, "NO_FEED", "")

	for who, ctx := range map[string]context.Context{
		"another grower": r.grower(t, "gorse-hill"),
		"a yard manager": testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: identity.YardManager, YardID: "quarry-end"}),
	} {
		_, err := r.RevokeFeed(ctx, &schedulingv1.RevokeFeedRequest{RequestId: ids.New(), FeedId: made.GetFeed().GetFeedId()})
		if fault.KindOf(err) != fault.Forbidden {
			t.Errorf("%s revokes: %v", who, err)
		}
		if got := must[*schedulingv1.ListFeedsResponse](t)(r.ListFeeds(ctx, &schedulingv1.ListFeedsRequest{})).GetFeeds(); len(got) > 0 {
			t.Errorf("%s sees %v", who, got)
		}
		_, err = r.CreateFeed(ctx, &schedulingv1.CreateFeedRequest{RequestId: ids.New(), Kind: schedulingv1.FeedKind_FEED_KIND_ROOM, TargetId: "elm-end-1"})
		if fault.KindOf(err) != fault.Forbidden {
			t.Errorf("%s makes a feed of the room: %v", who, err)
		}
	}
	revoked := must[*schedulingv1.Feed](t)(r.RevokeFeed(r.grower(t, "elm-end"), &schedulingv1.RevokeFeedRequest{RequestId: ids.New(), FeedId: made.GetFeed().GetFeedId()}))
	if revoked.GetRevokedAt() == nil {
		t.Error("not revoked")
	}
	refused(t, read(r.coop.CoopID, made.GetSecret()), fault.NotFound, "NO_FEED", "")
	_, err = r.CreateFeed(r.office(t), &schedulingv1.CreateFeedRequest{RequestId: ids.New(), Kind: schedulingv1.FeedKind_FEED_KIND_FARM, TargetId: "nowhere"})
	refused(t, err, fault.NotFound, "UNKNOWN_FARM", "target_id")
}

// The calendar as CSV reads back as what the calendar shows (RFC 4180: CRLF, a
// header, equal numbers of fields).
func TestExportReadsBack(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	r.record(t, crop.GetCropId(), filling, "2026-04-07")
	r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	content := must[*schedulingv1.Content](t)(r.ExportCalendar(r.grower(t, "gorse-hill"), &schedulingv1.ExportCalendarRequest{FromDate: "2026-04-01", ToDate: "2026-04-30"}))
	text := string(content.GetContent())
	if strings.Count(text, "\r\n") != strings.Count(text, "\n") || content.GetFileName() != "calendar-2026-04-01-2026-04-30.csv" {
		t.Errorf("%s: %q", content.GetFileName(), text)
	}
	lines, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	shown := r.calendar(t, "2026-04-01", "2026-04-30", "gorse-hill").GetCrops()[0]
	if len(lines) != 1+len(shown.GetStages()) || lines[0][0] != "crop_id" {
		t.Fatalf("lines %v", lines)
	}
	for i, s := range shown.GetStages() {
		line := lines[i+1]
		if line[0] != shown.GetCropId() || line[8] != s.GetStartDate() || line[9] != s.GetEndDate() || line[12] != s.GetActualStartDate() {
			t.Errorf("line %v, stage %v", line, s)
		}
	}
}
