package outlook_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
	"breakshare.example/services/harvest/internal/outlook"
)

var today = day.On(2026, time.November, 26)

func band(likely int64) *fusion.Band {
	return &fusion.Band{Low: likely * 8 / 10, Likely: likely, High: likely * 12 / 10}
}

// boasting is a farm that says half again what comes, and another that is right.
func boasting() []outlook.Past {
	var past []outlook.Past
	for i := 1; i <= 40; i++ {
		actual := int64(80000 + 5000*(i%5))
		past = append(past,
			outlook.Past{FarmID: "alder-brook", RoomID: "ab-1", Day: today.Add(-i), Said: band(actual * 3 / 2), Model: band(actual + 3000), Combined: band(actual * 5 / 4), Actual: actual},
			outlook.Past{FarmID: "hill-end", RoomID: "he-1", Day: today.Add(-i), Said: band(actual), Model: band(actual - 3000), Combined: band(actual), Actual: actual})
	}
	return past
}

func TestAFarmIsCorrectedByItsOwnHabit(t *testing.T) {
	t.Parallel()
	h := outlook.New(boasting(), today)
	fuse := func(farm string) fusion.Output {
		out, err := h.Fuse(outlook.Figure{FarmID: farm, Said: band(150000), Model: band(100000), Floor: 2000})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	boaster, honest, newcomer := fuse("alder-brook"), fuse("hill-end"), fuse("long-lane")
	if got := boaster.PushFixed.Likely; got < 95000 || got > 115000 {
		t.Errorf("a farm that says half again too much is read as %d g for 150 kg, want about 100 kg", got)
	}
	if got := honest.PushFixed.Likely; got < 140000 || got > 155000 {
		t.Errorf("a farm that is right is read as %d g for 150 kg", got)
	}
	// One without records lies between: it is drawn towards what all farms show.
	if got := newcomer.PushFixed.Likely; got <= boaster.PushFixed.Likely || got >= honest.PushFixed.Likely {
		t.Errorf("a newcomer is read as %d g", got)
	}
	if *boaster.Push != *band(150000) || boaster.Forecast != *band(100000) {
		t.Errorf("what was said and modelled does not stand beside: %+v", boaster)
	}
	if honest.Use.Likely <= 100000 || honest.Use.Likely >= 155000 || honest.PushPerMille <= boaster.PushPerMille-1000 {
		t.Errorf("in use of the honest farm: %+v", honest)
	}
}

func TestOneSourceAlone(t *testing.T) {
	t.Parallel()
	h := outlook.New(boasting(), today)
	out, err := h.Fuse(outlook.Figure{FarmID: "alder-brook", Model: band(70000), Floor: 2000})
	if err != nil || out.Use != *band(70000) || out.Push != nil || out.PushPerMille != 0 {
		t.Errorf("the forecast stands in as it is: %+v (%v)", out, err)
	}
	out, err = h.Fuse(outlook.Figure{FarmID: "alder-brook", Said: band(70000), Floor: 2000})
	if err != nil || out.Use != *band(70000) || out.PushPerMille != 1000 {
		t.Errorf("without a model the push is used as it is: %+v (%v)", out, err)
	}
}

// The order in which days come, and days that are not over, change nothing.
func TestOrderAndTheFutureDoNotMatter(t *testing.T) {
	t.Parallel()
	f := outlook.Figure{FarmID: "alder-brook", Said: band(150000), Model: band(100000), Floor: 2000}
	want, err := outlook.New(boasting(), today).Fuse(f)
	if err != nil {
		t.Fatal(err)
	}
	past := boasting()
	for i, j := 0, len(past)-1; i < j; i, j = i+1, j-1 {
		past[i], past[j] = past[j], past[i]
	}
	past = append(past, outlook.Past{FarmID: "alder-brook", Day: today, Said: band(1), Actual: 900000})
	got, err := outlook.New(past, today).Fuse(f)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if _, err := outlook.New(nil, today).Fuse(outlook.Figure{Said: band(1), Model: band(1)}); err == nil {
		t.Error("a floor of 0 was taken")
	}
}
