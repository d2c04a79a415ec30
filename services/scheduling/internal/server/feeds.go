package server

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/scheduling/internal/store"
)

var feedKinds = pair(map[schedulingv1.FeedKind]string{
	schedulingv1.FeedKind_FEED_KIND_FARM: "farm",
	schedulingv1.FeedKind_FEED_KIND_ROOM: "room",
	schedulingv1.FeedKind_FEED_KIND_YARD: "yard",
})

// CreateFeed makes a private address. The secret goes to the caller alone: the
// database, the request log included, never holds it.
func (s *Server) CreateFeed(ctx context.Context, req *schedulingv1.CreateFeedRequest) (*schedulingv1.CreateFeedResponse, error) {
	secret := ""
	answer, err := requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.CreateFeedResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.CreateFeedResponse, error) {
		id := identity.Must(ctx)
		f := store.Feed{ID: ids.New(), Kind: feedKinds.word[req.GetKind()], TargetID: req.GetTargetId(), CreatedAt: s.change(ctx, 1).At, CreatedBy: s.change(ctx, 1).By}
		if err := mayFeed(ctx, tx, id, f); err != nil {
			return nil, err
		}
		bytes := make([]byte, 32)
		if _, err := rand.Read(bytes); err != nil {
			return nil, fmt.Errorf("mint a secret: %w", err)
		}
		secret = base64.RawURLEncoding.EncodeToString(bytes)
		f.SecretHash = hashed(secret)
		return &schedulingv1.CreateFeedResponse{Feed: feedMessage(f)}, store.AddFeed(ctx, tx, id.CoopID, f)
	})
	if err != nil || secret == "" {
		return answer, err
	}
	answer.Secret, answer.Path = secret, fmt.Sprintf("/feeds/%s/%s.ics", identity.Must(ctx).CoopID, secret)
	return answer, nil
}

func hashed(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

// mayFeed refuses a feed of what is not there, and of what is not the caller's.
func mayFeed(ctx context.Context, tx pgx.Tx, id identity.Identity, f store.Feed) error {
	switch f.Kind {
	case "farm":
		farms, err := store.ListFarms(ctx, tx, f.TargetID)
		if err != nil {
			return err
		}
		if len(farms) == 0 {
			return unknown("FARM", f.TargetID, "target_id", "list the farms for those there are")
		}
		return ownFeed(id, f.TargetID)
	case "room":
		rooms, err := store.ListRooms(ctx, tx, "")
		if err != nil {
			return err
		}
		i := slices.IndexFunc(rooms, func(r store.Room) bool { return r.ID == f.TargetID })
		if i < 0 {
			return unknown("ROOM", f.TargetID, "target_id", "list the rooms for those there are")
		}
		return ownFeed(id, rooms[i].FarmID)
	}
	if id.Role == identity.Grower || (id.Role == identity.YardManager && id.YardID != f.TargetID) {
		return fault.New(fault.Forbidden, "OTHER_YARD", "the feed of yard %q is for its manager and the office", f.TargetID)
	}
	return nil
}

// ownFeed lets growers and the office have the feeds of a farm.
func ownFeed(id identity.Identity, farmID string) error {
	if id.Role == identity.YardManager {
		return fault.New(fault.Forbidden, "OTHER_FARM", "the feeds of farm %q are for the farm and the office", farmID)
	}
	return ownFarm(id, farmID)
}

// ListFeeds returns the feeds that the caller may see, the newest first.
func (s *Server) ListFeeds(ctx context.Context, _ *schedulingv1.ListFeedsRequest) (*schedulingv1.ListFeedsResponse, error) {
	answer := &schedulingv1.ListFeedsResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		answer.Feeds = nil
		feeds, err := store.ListFeeds(ctx, tx)
		for _, f := range feeds {
			if mayFeed(ctx, tx, identity.Must(ctx), f) == nil {
				answer.Feeds = append(answer.Feeds, feedMessage(f))
			}
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// RevokeFeed ends a feed.
func (s *Server) RevokeFeed(ctx context.Context, req *schedulingv1.RevokeFeedRequest) (*schedulingv1.Feed, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Feed{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Feed, error) {
		f, ok, err := store.FindFeed(ctx, tx, req.GetFeedId(), nil)
		if err != nil {
			return nil, err
		}
		if !ok {
			return nil, unknown("FEED", req.GetFeedId(), "feed_id", "list the feeds for those there are")
		}
		if err := mayFeed(ctx, tx, identity.Must(ctx), f); err != nil {
			return nil, err
		}
		if f.RevokedAt == nil {
			at := s.clock.Now().Truncate(time.Microsecond)
			f.RevokedAt = &at
			if err := store.RevokeFeed(ctx, tx, f.ID, at); err != nil {
				return nil, err
			}
		}
		return feedMessage(f), nil
	})
}

func feedMessage(f store.Feed) *schedulingv1.Feed {
	out := &schedulingv1.Feed{
		FeedId: f.ID, Kind: feedKinds.enum[f.Kind], TargetId: f.TargetID, CreatedBy: f.CreatedBy, CreatedAt: timestamppb.New(f.CreatedAt),
	}
	if f.RevokedAt != nil {
		out.RevokedAt = timestamppb.New(*f.RevokedAt)
	}
	return out
}
