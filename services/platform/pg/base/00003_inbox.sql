-- +goose Up
-- Events of other services that this one has taken in: delivered twice, applied
-- once.
CREATE TABLE inbox (
    coop_id     uuid        NOT NULL,
    event_id    uuid        NOT NULL,
    source      text        NOT NULL CHECK (source <> ''), -- the service that told of it
    sequence    bigint      NOT NULL,                      -- the source's, per co-op
    received_at timestamptz NOT NULL DEFAULT now(),
    outcome     text        NOT NULL CHECK (outcome IN ('applied', 'skipped', 'dead')),
    reason      text,                                      -- why it is dead
    PRIMARY KEY (coop_id, event_id),
    CHECK ((outcome = 'dead') = (reason IS NOT NULL))
);
CREATE INDEX inbox_source_sequence ON inbox (coop_id, source, sequence);
SELECT coop_scoped('inbox');

-- How far this service has read each source.
CREATE TABLE event_cursor (
    coop_id       uuid   NOT NULL,
    source        text   NOT NULL CHECK (source <> ''),
    last_sequence bigint NOT NULL CHECK (last_sequence >= 0),
    PRIMARY KEY (coop_id, source)
);
SELECT coop_scoped('event_cursor');

-- +goose Down
DROP TABLE event_cursor;
DROP TABLE inbox;
