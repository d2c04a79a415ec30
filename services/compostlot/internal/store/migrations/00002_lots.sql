-- +goose Up
CREATE TABLE lot (
    coop_id          uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id           text        NOT NULL,
    yard_id          text        NOT NULL,
    slot_id          text,
    phase            smallint    NOT NULL CHECK (phase BETWEEN 1 AND 3),
    started_date     date        NOT NULL,
    made_kg          bigint      NOT NULL CHECK (made_kg > 0),
    remaining_kg     bigint      NOT NULL CHECK (remaining_kg BETWEEN 0 AND made_kg),
    state            text        NOT NULL CHECK (state IN ('open', 'released', 'held')),
    released_by      text        CHECK (released_by <> ''),
    released_at      timestamptz,
    exception_reason text        CHECK (exception_reason <> ''),
    unproven         text[]      NOT NULL DEFAULT '{}', -- criteria that the exception passed over
    held_by          text        CHECK (held_by <> ''),
    hold_reason      text        CHECK (hold_reason <> ''),
    version          bigint      NOT NULL CHECK (version > 0),
    changed_by       text        NOT NULL,
    changed_at       timestamptz NOT NULL,
    PRIMARY KEY (coop_id, lot_id),
    FOREIGN KEY (coop_id, yard_id) REFERENCES yard,
    FOREIGN KEY (coop_id, slot_id) REFERENCES slot,
    CHECK ((released_by IS NULL) = (released_at IS NULL)),
    CHECK (state <> 'released' OR released_by IS NOT NULL),
    CHECK ((state = 'held') = (hold_reason IS NOT NULL)),
    CHECK ((state = 'held') = (held_by IS NOT NULL)),
    CHECK ((exception_reason IS NOT NULL) = (cardinality(unproven) > 0))
);
SELECT coop_scoped('lot');
CREATE INDEX lot_started ON lot (coop_id, started_date DESC, lot_id);

-- Every release and hold ever decided: who, when, why. Rows are only added.
CREATE TABLE lot_decision (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id     text        NOT NULL,
    version    bigint      NOT NULL, -- of the lot, that the decision made
    kind       text        NOT NULL CHECK (kind IN ('release', 'exception', 'hold')),
    decided_by text        NOT NULL CHECK (decided_by <> ''),
    decided_at timestamptz NOT NULL,
    reason     text        CHECK (reason <> ''),
    unproven   text[]      NOT NULL,
    entered_by text        NOT NULL,
    entered_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, lot_id, version),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot,
    CHECK ((kind = 'release') = (reason IS NULL))
);
SELECT coop_scoped('lot_decision');

CREATE TABLE lot_mark (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id     text        NOT NULL,
    mark       smallint    NOT NULL CHECK (mark BETWEEN 1 AND 5),
    time       timestamptz NOT NULL,
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, lot_id, mark),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot
);
SELECT coop_scoped('lot_mark');

CREATE TABLE probe_calibration (
    coop_id           uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id            text        NOT NULL,
    probe_id          text        NOT NULL,
    kind              smallint    NOT NULL CHECK (kind BETWEEN 1 AND 7),
    offset_thousandths bigint    NOT NULL,
    changed_by        text        NOT NULL,
    changed_at        timestamptz NOT NULL,
    PRIMARY KEY (coop_id, lot_id, probe_id, kind),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot
);
SELECT coop_scoped('probe_calibration');

-- Raw readings, one row for each probe and UTC day: two columns of whole numbers
-- by ascending second. A lot of 20 probes over 14 days by the minute is 280 rows
-- instead of 403,200, so it is written and read in a fraction of the time.
CREATE TABLE reading_day (
    coop_id     uuid      NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id      text      NOT NULL,
    probe_id    text      NOT NULL,
    kind        smallint  NOT NULL CHECK (kind BETWEEN 1 AND 7),
    day         date      NOT NULL,
    seconds     integer[] NOT NULL, -- since midnight UTC
    thousandths integer[] NOT NULL, -- of the kind's unit, as the probe gave them
    readings    integer   NOT NULL GENERATED ALWAYS AS (cardinality(seconds)) STORED,
    PRIMARY KEY (coop_id, lot_id, probe_id, kind, day),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot,
    CHECK (cardinality(seconds) BETWEEN 1 AND 86400 AND cardinality(thousandths) = cardinality(seconds)),
    CHECK (0 <= ALL (seconds) AND 86399 >= ALL (seconds)),
    CHECK (array_position(thousandths, NULL) IS NULL)
);
SELECT coop_scoped('reading_day');

CREATE TABLE lot_delivery (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    lot_id       text        NOT NULL,
    number       integer     NOT NULL CHECK (number > 0), -- within the lot, from 1
    farm_id      text        NOT NULL,
    room_id      text        NOT NULL,
    crop_id      text        CHECK (crop_id <> ''),
    delivered_kg bigint      NOT NULL CHECK (delivered_kg > 0),
    delivered_at timestamptz NOT NULL,
    date         date        NOT NULL, -- of delivered_at in the co-op's time zone
    entered_by   text        NOT NULL,
    entered_at   timestamptz NOT NULL,
    PRIMARY KEY (coop_id, lot_id, number),
    FOREIGN KEY (coop_id, lot_id) REFERENCES lot
);
SELECT coop_scoped('lot_delivery');

-- +goose Down
DROP TABLE lot_delivery, reading_day, probe_calibration, lot_mark, lot_decision, lot;
