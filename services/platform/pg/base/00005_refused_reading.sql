-- +goose Up
-- Readings that instruments published and that could not be used, with the
-- reason; the newest are kept. Only services that take readings fill it.
CREATE TABLE refused_reading (
    coop_id     uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    message_id  text        NOT NULL CHECK (message_id <> ''), -- the bus's
    place       text        NOT NULL,                          -- the yard or farm of the topic
    topic       text        NOT NULL,
    payload     text        NOT NULL,                          -- its beginning
    reason      text        NOT NULL CHECK (reason <> ''),
    received_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, message_id)
);
CREATE INDEX refused_reading_newest ON refused_reading (coop_id, received_at DESC, message_id);
SELECT coop_scoped('refused_reading');

-- +goose Down
DROP TABLE refused_reading;
