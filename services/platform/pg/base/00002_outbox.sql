-- +goose Up
-- Events this service tells of, written in the transaction of the change.
-- Published rows are kept: they are the record, the bus is a courier.
CREATE TABLE outbox (
    coop_id      uuid        NOT NULL,
    id           uuid        NOT NULL,
    ordinal      bigint      NOT NULL GENERATED ALWAYS AS IDENTITY, -- the order in which the relay takes rows up
    sequence     bigint      CHECK (sequence > 0),                  -- gapless per co-op; the relay assigns it
    thing        text        NOT NULL CHECK (thing <> ''),
    what         text        NOT NULL CHECK (what <> ''),
    aggregate    text        NOT NULL,
    type         text        NOT NULL CHECK (type <> ''),           -- full name of the protobuf message
    payload      bytea       NOT NULL,
    time         timestamptz NOT NULL,
    traceparent  text,
    published_at timestamptz,
    PRIMARY KEY (coop_id, id),
    UNIQUE (coop_id, sequence),
    CHECK (published_at IS NULL OR sequence IS NOT NULL)
);
CREATE INDEX outbox_unpublished ON outbox (ordinal) WHERE published_at IS NULL;
SELECT coop_scoped('outbox');

-- +goose StatementBegin
DO $$
DECLARE
    relay text := 'breakshare_' || current_schema() || '_relay';
BEGIN
    EXECUTE format('CREATE POLICY relay ON outbox TO %I USING (true) WITH CHECK (true)', relay);
    EXECUTE format('GRANT SELECT, UPDATE (sequence, published_at) ON outbox TO %I', relay);
END
$$;
-- +goose StatementEnd

-- +goose Down
DROP TABLE outbox;
