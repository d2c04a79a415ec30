package web

import (
	"context"
	"net/http"
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
)

// calendarType is all that a feed is served as, whatever a service answers.
const calendarType = "text/calendar"

// readFeed serves a calendar to whoever holds its private address; nobody signs in for it.
func (p *Pages) readFeed(v *visit) (view, error) {
	coop, file := v.r.PathValue("coop"), v.r.PathValue("file")
	secret, isCalendar := strings.CutSuffix(file, ".ics")
	if !ids.Valid(coop) || !isCalendar || secret == "" {
		return view{}, fault.New(fault.NotFound, "NO_FEED", "%s", v.words.T("feeds.no_such"))
	}
	ctx := identity.With(v.ctx, identity.Identity{CoopID: coop, Role: identity.Service, Name: "calendar feed"})
	content, err := p.scheduling.ReadFeed(ctx, &schedulingv1.ReadFeedRequest{Secret: secret})
	if err != nil {
		return view{}, err
	}
	if kind, _, _ := strings.Cut(content.GetContentType(), ";"); strings.TrimSpace(kind) != calendarType {
		return view{}, fault.New(fault.Internal, "NO_CALENDAR", "a feed answered %q", content.GetContentType())
	}
	return view{file: content}, nil
}

// exportCrops gives the crops of a span of days to save as CSV.
func (p *Pages) exportCrops(v *visit) (view, error) {
	from, err := v.dayOf("from", mondayOf(v.today(0)))
	if err != nil {
		return view{}, err
	}
	to, err := v.dayOf("to", addDays(from, quarterDays-1))
	if err != nil {
		return view{}, err
	}
	content, err := p.scheduling.ExportCalendar(v.ctx, &schedulingv1.ExportCalendarRequest{FromDate: from, ToDate: to, FarmId: v.who.FarmID})
	return view{file: content}, err
}

// send sends a file as it came, under its own name.
func send(w http.ResponseWriter, file *schedulingv1.Content) {
	h := w.Header()
	h.Set("Content-Type", file.GetContentType())
	h.Set("Content-Disposition", `attachment; filename="`+fileName(file.GetFileName())+`"`)
	h.Set("Cache-Control", "private, no-cache")
	// The visitor may be gone; there is nobody left to tell.
	_, _ = w.Write(file.GetContent())
}

// fileName keeps the letters, digits, dots and dashes of a name: nothing in it can end the
// header it stands in.
func fileName(name string) string {
	kept := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return -1
	}, name)
	if kept == "" {
		return "breakshare"
	}
	return kept
}

// feedsPage is the calendars that can be read at private addresses.
type feedsPage struct {
	Form    *form
	Address string // of the one just made; it is shown once
	Choices []feedChoice
	Feeds   []feedRow
}

// feedChoice is something a calendar can tell of.
type feedChoice struct{ Value, Label string }

// feedRow is one calendar.
type feedRow struct {
	ID, Kind, Target, By, At, Revoked string
	Form                              *form
}

// showFeeds lists the visitor's calendars and offers new ones.
func (p *Pages) showFeeds(v *visit, f *form) (view, error) {
	page := feedsPage{Form: f}
	var (
		feeds *schedulingv1.ListFeedsResponse
		rooms *schedulingv1.ListRoomsResponse
		n     names
	)
	err := together(v.ctx,
		ask(&feeds, p.scheduling.ListFeeds, &schedulingv1.ListFeedsRequest{}),
		func(ctx context.Context) (err error) {
			if v.who.Role != identity.YardManager {
				rooms, err = p.scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{FarmId: v.who.FarmID})
			}
			return err
		},
		p.naming(&n, farmNames|yardNames),
	)
	if err != nil {
		return view{}, err
	}
	page.choices(v, rooms.GetRooms(), n)
	labels := map[string]string{}
	for _, c := range page.Choices {
		labels[c.Value] = c.Label
	}
	for _, one := range feeds.GetFeeds() {
		row := feedRow{
			ID: one.GetFeedId(), Kind: feedKinds[one.GetKind()], By: one.GetCreatedBy(),
			At: v.words.Instant(one.GetCreatedAt().AsTime(), v.zone), Form: f.For("revoke-" + one.GetFeedId()),
		}
		row.Target = nameOf(labels, row.Kind+":"+one.GetTargetId())
		if at := one.GetRevokedAt(); at != nil {
			row.Revoked = v.words.Instant(at.AsTime(), v.zone)
		}
		page.Feeds = append(page.Feeds, row)
	}
	return view{template: "feeds", title: "feeds.title", data: page}, nil
}

// feedKinds are the names that forms give the kinds of feeds.
var feedKinds = map[schedulingv1.FeedKind]string{
	schedulingv1.FeedKind_FEED_KIND_FARM: "farm", schedulingv1.FeedKind_FEED_KIND_ROOM: "room", schedulingv1.FeedKind_FEED_KIND_YARD: "yard",
}

func (page *feedsPage) choices(v *visit, rooms []*schedulingv1.Room, n names) {
	for _, id := range sortedKeys(n.farms) {
		if v.who.Role == identity.Coordinator || v.who.FarmID == id {
			page.Choices = append(page.Choices, feedChoice{"farm:" + id, n.farms[id]})
		}
	}
	for _, room := range rooms {
		page.Choices = append(page.Choices, feedChoice{"room:" + room.GetRoomId(), nameOf(n.farms, room.GetFarmId()) + ", " + room.GetName()})
	}
	for _, id := range sortedKeys(n.yards) {
		if v.who.Role == identity.Coordinator || v.who.YardID == id {
			page.Choices = append(page.Choices, feedChoice{"yard:" + id, n.yards[id]})
		}
	}
}

// createFeed makes a calendar and shows its address, the only time.
func (p *Pages) createFeed(v *visit) (view, error) {
	named, target, _ := strings.Cut(v.r.PostFormValue("target"), ":")
	kind := schedulingv1.FeedKind_FEED_KIND_UNSPECIFIED
	for k, name := range feedKinds {
		if name == named {
			kind = k
		}
	}
	made, err := p.scheduling.CreateFeed(v.ctx, &schedulingv1.CreateFeedRequest{RequestId: v.r.PostFormValue("request_id"), Kind: kind, TargetId: target})
	if err != nil {
		return view{}, err
	}
	shown, err := p.showFeeds(v, newForm())
	if err != nil {
		return view{}, err
	}
	page := shown.data.(feedsPage)
	scheme := "http"
	if v.r.TLS != nil {
		scheme = "https"
	}
	page.Address = scheme + "://" + v.r.Host + made.GetPath()
	shown.data = page
	return shown, nil
}

// revokeFeed ends a calendar.
func (p *Pages) revokeFeed(v *visit) (view, error) {
	_, err := p.scheduling.RevokeFeed(v.ctx, &schedulingv1.RevokeFeedRequest{RequestId: v.r.PostFormValue("request_id"), FeedId: v.r.PostFormValue("feed")})
	return view{goTo: "/feeds"}, err
}
