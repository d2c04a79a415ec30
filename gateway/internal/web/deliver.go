package web

import (
	"context"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// roomChoices are all rooms of all farms, as places to deliver to.
func (p *Pages) roomChoices(ctx context.Context) ([]roomChoice, error) {
	var (
		farms *schedulingv1.ListFarmsResponse
		rooms *schedulingv1.ListRoomsResponse
	)
	err := together(ctx,
		func(ctx context.Context) (err error) {
			farms, err = p.scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
			return err
		},
		func(ctx context.Context) (err error) {
			rooms, err = p.scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
			return err
		},
	)
	names := byID(farms.GetFarms(), (*schedulingv1.Farm).GetFarmId, (*schedulingv1.Farm).GetName)
	var choices []roomChoice
	for _, r := range rooms.GetRooms() {
		choices = append(choices, roomChoice{Value: r.GetFarmId() + "/" + r.GetRoomId(), Label: nameOf(names, r.GetFarmId()) + ", " + r.GetName()})
	}
	return choices, err
}

// renderedAt is the instant that a form carries from when it was rendered, so that sending it
// twice says the same; now where it carries none.
func (v *visit) renderedAt() time.Time {
	if at, err := time.Parse(time.RFC3339, v.r.PostFormValue("at")); err == nil {
		return at
	}
	return v.now
}
