package genealogy

import (
	"testing"
	"time"

	"breakshare.example/services/harvest/internal/day"
)

func nov(d int) day.Date { return day.On(2026, time.November, d) }

// Crops of one room around November 2026: "old" runs and was to leave on the
// 20th, "next" is planned.
func old() Crop {
	return Crop{ID: "old", RoomID: "r1", Fill: nov(-55), FirstPick: nov(-10), Free: nov(20), Filled: true}
}

func next() Crop {
	return Crop{ID: "next", RoomID: "r1", Fill: nov(23), FirstPick: nov(60), Free: nov(90)}
}

func ended(c Crop) Crop  { c.Ended = true; return c }
func filled(c Crop) Crop { c.Filled = true; return c }

func TestCropOn(t *testing.T) {
	t.Parallel()
	never := Crop{ID: "never", RoomID: "r1", Fill: nov(5), FirstPick: nov(5), Free: nov(5), Ended: true}
	tests := []struct {
		name  string
		crops []Crop
		on    day.Date
		want  string
	}{
		{"before the fill", []Crop{old()}, nov(-56), ""},
		{"on the day of filling", []Crop{old()}, nov(-55), "old"},
		{"in pick", []Crop{old(), next()}, nov(19), "old"},
		{"past its plan, nobody ended it", []Crop{old(), next()}, nov(21), "old"},
		{"past its plan, though the next is planned in by now", []Crop{old(), next()}, nov(24), "old"},
		{"past its plan, but the next is really in", []Crop{old(), filled(next())}, nov(24), "next"},
		{"past its plan for too long", []Crop{old()}, nov(20 + OverrunDays), ""},
		{"far ahead the plan counts", []Crop{old(), next()}, nov(61), "next"},
		{"planned, before its first pick", []Crop{next()}, nov(30), "next"},
		{"picked in the morning of the day it ended", []Crop{ended(old())}, nov(20), "old"},
		{"the day after it ended", []Crop{ended(old())}, nov(21), ""},
		{"a plan given up before it was filled", []Crop{never}, nov(5), ""},
		{"a given-up plan clears nothing", []Crop{old(), filled(never)}, nov(6), "old"},
		{"another room", []Crop{{ID: "x", RoomID: "r2", Fill: nov(1), FirstPick: nov(2), Free: nov(9)}}, nov(3), ""},
		{"two plans for one day: the later fill", []Crop{next(), {ID: "also", RoomID: "r1", Fill: nov(24), FirstPick: nov(60), Free: nov(90)}}, nov(70), "also"},
		{"two plans of one fill: the smaller id", []Crop{next(), {ID: "also", RoomID: "r1", Fill: nov(23), FirstPick: nov(60), Free: nov(90)}}, nov(70), "also"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, found := New(tt.crops, nil, nil).CropOn("r1", tt.on)
			if got.ID != tt.want || found != (tt.want != "") {
				t.Errorf("on %v the room holds %q, want %q", tt.on, got.ID, tt.want)
			}
		})
	}
}

func TestDeliveryFindsItsFill(t *testing.T) {
	t.Parallel()
	crops := []Crop{ended(old()), next()}
	tests := []struct {
		name     string
		delivery Delivery
		want     string
	}{
		{"the crop that the yard noted", Delivery{RoomID: "r1", CropID: "next", Day: nov(-55)}, "next"},
		{"a crop that nobody knows: by room and day", Delivery{RoomID: "r1", CropID: "lost", Day: nov(22)}, "next"},
		{"the day before filling", Delivery{RoomID: "r1", Day: nov(22)}, "next"},
		{"on the day of filling", Delivery{RoomID: "r1", Day: nov(-55)}, "old"},
		{"a week after filling", Delivery{RoomID: "r1", Day: nov(-48)}, "old"},
		{"in the middle of a crop", Delivery{RoomID: "r1", Day: nov(0)}, "old"},
		{"to an empty room, long before any fill", Delivery{RoomID: "r1", Day: nov(-80)}, ""},
		{"to a room without crops", Delivery{RoomID: "r9", Day: nov(22)}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.delivery.ID, tt.delivery.CompostID = "d", "c"
			got := ""
			for _, c := range New(crops, []Delivery{tt.delivery}, nil).Forward("c") {
				got += c.ID
			}
			if got != tt.want {
				t.Errorf("the delivery went to crop %q, want %q", got, tt.want)
			}
		})
	}
}
