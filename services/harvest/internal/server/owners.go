package server

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/told"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
)

// Scheduling is what harvest asks of the owner of rooms and crops.
type Scheduling interface {
	ListRooms(ctx context.Context, in *schedulingv1.ListRoomsRequest, opts ...grpc.CallOption) (*schedulingv1.ListRoomsResponse, error)
	GetCalendar(ctx context.Context, in *schedulingv1.GetCalendarRequest, opts ...grpc.CallOption) (*schedulingv1.GetCalendarResponse, error)
	ListProgrammes(ctx context.Context, in *schedulingv1.ListProgrammesRequest, opts ...grpc.CallOption) (*schedulingv1.ListProgrammesResponse, error)
}

// Ordering is what harvest asks of the owner of products.
type Ordering interface {
	ListProducts(ctx context.Context, in *orderv1.ListProductsRequest, opts ...grpc.CallOption) (*orderv1.ListProductsResponse, error)
}

// Owners are the services that own what harvest keeps copies of.
//
// A copy may lag: a room saved a moment ago may not have arrived. So harvest
// says yes on the strength of its copies, but never no: before a refusal that
// rests on them it asks the owners once and judges again. What they answer is
// kept, and the events that follow find it there.
type Owners struct {
	Scheduling Scheduling
	Ordering   Ordering
}

// answers are what the owners said.
type answers struct {
	rooms    []store.Room
	products []store.Product
	crops    []store.Crop
}

// calendarDays is the longest span that one GetCalendar takes.
const calendarDays = 800

// ask asks for all rooms and products and for the crops around the days, in the
// role of a service: the caller may not see all that harvest must know.
func (o Owners) ask(ctx context.Context, days []day.Date) (*answers, error) {
	id := identity.Must(ctx)
	ctx = identity.With(ctx, identity.Identity{CoopID: id.CoopID, Role: identity.Service, Name: "harvest"})
	a := &answers{}
	rooms, err := o.Scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
	if err != nil {
		return nil, fmt.Errorf("ask scheduling for the rooms: %w", err)
	}
	for _, r := range rooms.GetRooms() {
		a.rooms = append(a.rooms, told.Room(r, 0))
	}
	products, err := o.Ordering.ListProducts(ctx, &orderv1.ListProductsRequest{})
	if err != nil {
		return nil, fmt.Errorf("ask order for the products: %w", err)
	}
	for _, p := range products.GetProducts() {
		a.products = append(a.products, told.Product(p, 0))
	}
	for _, part := range parts(days) {
		if err := o.askCrops(ctx, a, part); err != nil {
			return nil, err
		}
	}
	return a, nil
}

func (o Owners) askCrops(ctx context.Context, a *answers, part [2]day.Date) error {
	calendar, err := o.Scheduling.GetCalendar(ctx, &schedulingv1.GetCalendarRequest{FromDate: part[0].String(), ToDate: part[1].String()})
	if err != nil {
		return fmt.Errorf("ask scheduling for the crops of %s to %s: %w", part[0], part[1], err)
	}
	for _, c := range calendar.GetCrops() {
		crop, err := told.Crop(c)
		if err != nil {
			return fmt.Errorf("read scheduling's answer: %w", err)
		}
		a.crops = append(a.crops, crop)
	}
	return nil
}

// parts are the fewest spans of the calendar that hold every day, each with the
// days before it from which a crop may run over.
func parts(days []day.Date) [][2]day.Date {
	days = slices.Clone(days)
	slices.Sort(days)
	var out [][2]day.Date
	for _, d := range days {
		last := len(out) - 1
		if last < 0 || d.Sub(out[last][0]) > calendarDays {
			out = append(out, [2]day.Date{max(day.First, d.Add(-genealogy.OverrunDays)), d})
			continue
		}
		out[last][1] = d
	}
	return out
}

// limits asks for the climate limits of all programmes.
func (o Owners) limits(ctx context.Context) ([]store.Limits, error) {
	ctx = identity.With(ctx, identity.Identity{CoopID: identity.Must(ctx).CoopID, Role: identity.Service, Name: "harvest"})
	resp, err := o.Scheduling.ListProgrammes(ctx, &schedulingv1.ListProgrammesRequest{})
	if err != nil {
		return nil, fmt.Errorf("ask scheduling for the programmes: %w", err)
	}
	var out []store.Limits
	for _, p := range resp.GetProgrammes() {
		out = append(out, told.Limits(p))
	}
	return out, nil
}

// keep writes the answers into the read model, under the lock of the family
// tree, alone. What an event told stays where it is as new.
func (a *answers) keep(ctx context.Context, tx pgx.Tx) error {
	for _, r := range a.rooms {
		if err := store.SaveRoom(ctx, tx, r); err != nil {
			return err
		}
	}
	for _, p := range a.products {
		if err := store.SaveProduct(ctx, tx, p); err != nil {
			return err
		}
	}
	var touched []string
	for _, c := range a.crops {
		rooms, err := store.SaveCrop(ctx, tx, c)
		if err != nil {
			return err
		}
		touched = append(touched, rooms...)
	}
	return lots.Refresh(ctx, tx, touched)
}

// unsure is a refusal that rests on copies of what others own. days are those
// on which it looked for crops.
type unsure struct {
	refusal *fault.Error
	days    []day.Date
}

func (u *unsure) Error() string { return u.refusal.Error() }

// ReasonNotHeard is the reason of the fault for something that harvest has not
// heard of while its owner cannot be asked.
const ReasonNotHeard = "NOT_HEARD_YET"

// keep is requestlog.Once for what changes the figures in use or how lots keep:
// what follows from it is told soon after.
func keep[R proto.Message](ctx context.Context, s *Server, requestID string, req proto.Message, fresh R, fn func(ctx context.Context, tx pgx.Tx) (R, error)) (R, error) {
	resp, err := requestlog.Once(ctx, s.pool, requestID, req, fresh, fn)
	if err == nil {
		s.changed(ctx)
	}
	return resp, err
}

// once runs fn once for the request id. Where fn is unsure, the owners are
// asked and it runs again with their answers; what it says then is final. Where
// they cannot be asked, the caller is told to try again.
func once[R proto.Message](ctx context.Context, s *Server, requestID string, req proto.Message, fresh R, fn func(ctx context.Context, tx pgx.Tx, a *answers) (R, error)) (R, error) {
	run := func(a *answers) (R, error) {
		return keep(ctx, s, requestID, req, fresh, func(ctx context.Context, tx pgx.Tx) (R, error) {
			return fn(ctx, tx, a)
		})
	}
	resp, err := run(nil)
	var u *unsure
	if !errors.As(err, &u) {
		return resp, err
	}
	a, askErr := s.owners.ask(ctx, u.days)
	if askErr != nil {
		return resp, &fault.Error{
			Kind: fault.Unavailable, Reason: ReasonNotHeard, Fields: u.refusal.Fields, Cause: askErr,
			Message: "harvest does not know of something that was named, and the service that owns it does not answer: try again in a moment. " + u.refusal.Message,
		}
	}
	resp, err = run(a)
	if errors.As(err, &u) {
		return resp, u.refusal
	}
	return resp, err
}
