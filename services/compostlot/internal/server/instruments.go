package server

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/pg"
)

// clockSlack is how far ahead of ours an instrument's clock may run.
const clockSlack = 10 * time.Minute

// kindWords are the kinds of readings as topics and files name them.
var kindWords = map[string]compostlotv1.ReadingKind{
	"compost_temperature": compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE,
	"air_temperature":     compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE,
	"ammonia":             compostlotv1.ReadingKind_READING_KIND_AMMONIA,
	"oxygen":              compostlotv1.ReadingKind_READING_KIND_OXYGEN,
	"moisture":            compostlotv1.ReadingKind_READING_KIND_MOISTURE,
	"nitrogen":            compostlotv1.ReadingKind_READING_KIND_NITROGEN,
	"ph":                  compostlotv1.ReadingKind_READING_KIND_PH,
	"carbon_dioxide":      compostlotv1.ReadingKind_READING_KIND_CARBON_DIOXIDE,
	"hydrogen_sulphide":   compostlotv1.ReadingKind_READING_KIND_HYDROGEN_SULPHIDE,
}

// TakeReadings stores what instruments published about lots, topic by topic
// readings/<co-op>/compostlot/<yard>/<lot>/<probe>/<kind>. Unlike a stream of readings, which
// is taken whole or not at all, each message stands for itself.
func (s *Server) TakeReadings(ctx context.Context, list []intake.Message) (refused []intake.Refusal, err error) {
	latest := s.now().Add(clockSlack)
	err = pg.InTx(ctx, s.o.Pool, identity.Must(ctx).CoopID, func(ctx context.Context, tx pgx.Tx) error {
		b := publishedBatch{days: map[dayKey]*column{}}
		lots, err := store.LockLots(ctx, tx, ids(list, lotOfTopic))
		if err != nil {
			return err
		}
		for i, m := range list {
			if err := b.add(i, m, lots, latest); err != nil {
				b.refuse(m, err)
			}
		}
		if err := b.store(ctx, tx, list); err != nil {
			return err
		}
		refused = b.refused
		return nil
	})
	return refused, err
}

// lotOfTopic is the lot that a topic names; empty where it names none.
func lotOfTopic(m intake.Message) string {
	if len(m.Topic.Names) != 2 {
		return ""
	}
	return m.Topic.Names[0]
}

// publishedBatch is what of a batch of messages can be stored.
type publishedBatch struct {
	days    map[dayKey]*column
	refused []intake.Refusal
}

func (b *publishedBatch) refuse(m intake.Message, why error) {
	b.refused = append(b.refused, intake.Refusal{Message: m, Reason: why.Error()})
}

// add puts the readings of message i into their days, all of them or none.
func (b *publishedBatch) add(i int, m intake.Message, lots map[string]store.Lot, latest time.Time) error {
	if len(m.Topic.Names) != 2 {
		return fmt.Errorf("topic %s does not name a lot and a probe: publish to readings/<co-op>/compostlot/<yard>/<lot>/<probe>/<kind>", m.Path)
	}
	lot, ok := lots[m.Topic.Names[0]]
	if !ok || lot.YardID != m.Topic.Place {
		return fmt.Errorf("yard %s has no lot %s: open it first, or correct the topic", m.Topic.Place, m.Topic.Names[0])
	}
	kind, ok := kindWords[m.Topic.Kind]
	if !ok {
		return fmt.Errorf("%s is not measured at lots: take one of %v", m.Topic.Kind, slices.Sorted(maps.Keys(kindWords)))
	}
	if len(m.Topic.Names[1]) > mostProbeID {
		return fmt.Errorf("probe %s: a probe's name has at most %d characters", m.Topic.Names[1], mostProbeID)
	}
	values := make([]int64, len(m.Values))
	for j, v := range m.Values {
		var err error
		if values[j], err = v.Scaled(1000); err != nil {
			return err
		}
		if v.Time.Year() < firstYear || v.Time.After(latest) {
			return fmt.Errorf("time %s cannot be: set the clock of the instrument", stamp(v.Time))
		}
	}
	probe := store.Probe{LotID: lot.ID, ProbeID: m.Topic.Names[1], Kind: int16(kind)}
	for j, v := range m.Values {
		k := dayKey{Probe: probe, day: v.Time.Unix() / secondsPerDay}
		c := b.days[k]
		if c == nil {
			c = &column{}
			b.days[k] = c
		}
		c.second = append(c.second, int32(v.Time.Unix()%secondsPerDay))
		c.value = append(c.value, int32(values[j]))
		c.index = append(c.index, int32(i))
	}
	return nil
}

// mostProbeID is the most characters of a probe's name, as in the contract.
const mostProbeID = 32

// store merges the days into what is stored. A reading that is known with another value is
// refused, and those of the same day are stored all the same.
func (b *publishedBatch) store(ctx context.Context, tx pgx.Tx, list []intake.Message) error {
	keys := slices.SortedFunc(maps.Keys(b.days), dayKey.compare)
	stored, err := store.DaysOf(ctx, tx, convert(keys, dayKey.row))
	if err != nil {
		return err
	}
	known := make(map[dayKey]store.Day, len(stored))
	for _, d := range stored {
		known[dayKey{Probe: d.Probe, day: d.Day.Unix() / secondsPerDay}] = d
	}
	told := map[int32]bool{}
	var changed []store.Day
	for _, k := range keys {
		c := b.days[k]
		for _, wrong := range c.setAside(k, known[k]) {
			if i := wrong.message; !told[i] {
				told[i] = true
				b.refuse(list[i], wrong.why)
			}
		}
		merged, added, err := c.merge(k, known[k])
		if err != nil {
			return err
		}
		if added > 0 {
			changed = append(changed, merged)
		}
	}
	return store.SaveDays(ctx, tx, changed)
}

// contradiction is a reading that is known with another value.
type contradiction struct {
	message int32
	why     error
}

// setAside takes out of the column what contradicts what is known, or an earlier reading of
// the column.
func (c *column) setAside(k dayKey, known store.Day) (out []contradiction) {
	has := make(map[int32]int32, len(c.second))
	kept := column{}
	for i, second := range c.second {
		value, ok := has[second]
		if at, found := slices.BinarySearch(known.Seconds, second); !ok && found {
			value, ok = known.Thousandths[at], true
		}
		if ok && value != c.value[i] {
			q := quantities[compostlotv1.ReadingKind(k.Kind)]
			out = append(out, contradiction{c.index[i], fmt.Errorf("probe %s of lot %s read %s at %s already, and readings are kept to the second: raw readings are not changed",
				k.ProbeID, k.LotID, q.Format(int64(value)), stamp(time.Unix(k.day*secondsPerDay+int64(second), 0)))})
			continue
		}
		has[second] = c.value[i]
		kept.second, kept.value, kept.index = append(kept.second, second), append(kept.value, c.value[i]), append(kept.index, c.index[i])
	}
	*c = kept
	return out
}

// ListRefusedReadings implements CompostLotService.
func (s *Server) ListRefusedReadings(ctx context.Context, req *compostlotv1.ListRefusedReadingsRequest) (*compostlotv1.ListRefusedReadingsResponse, error) {
	id := identity.Must(ctx)
	yard := req.GetYardId()
	if id.Role == identity.YardManager {
		if yard == "" {
			yard = id.YardID
		}
		if yard == "" {
			return nil, fault.New(fault.Forbidden, ReasonNotYours, "you stand for no yard: ask the coordinator")
		}
		if err := ownYard(ctx, "yard_id", yard); err != nil {
			return nil, err
		}
	}
	out := &compostlotv1.ListRefusedReadingsResponse{}
	return out, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := intake.ListRefused(ctx, tx, yard)
		out.Refused = convert(list, func(r intake.Refused) *typev1.RefusedReading {
			return &typev1.RefusedReading{Topic: r.Topic, Payload: r.Payload, Reason: r.Reason, ReceivedAt: timestamppb.New(r.ReceivedAt)}
		})
		return err
	})
}
