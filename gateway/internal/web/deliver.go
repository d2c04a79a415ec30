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
		ask(&farms, p.scheduling.ListFarms, &schedulingv1.ListFarmsRequest{}),
		ask(&rooms, p.scheduling.ListRooms, &schedulingv1.ListRoomsRequest{}),
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
