-- +goose Up
-- One cycle of one room. Dates are those the calendar computed at the last
-- change, so that reading a quarter computes nothing.
CREATE TABLE crop (
    coop_id           uuid        NOT NULL,
    crop_id           text        NOT NULL CHECK (crop_id <> ''),
    room_id           text        NOT NULL,
    farm_id           text        NOT NULL,
    programme_id      text        NOT NULL,
    programme_version integer     NOT NULL,
    state             text        NOT NULL CHECK (state IN ('planned', 'running', 'ended')),
    area_m2           integer     NOT NULL CHECK (area_m2 > 0),
    planned_fill_date date        NOT NULL, -- as planned, before anything happened
    fill_date         date        NOT NULL,
    first_pick_date   date        NOT NULL,
    free_date         date        NOT NULL,
    ended_date        date,                 -- the day it was ended for
    called_off        boolean     NOT NULL, -- ended before it was filled
    occupied_from     date,                 -- the days on which it holds the room,
    occupied_until    date,                 -- the last one excluded; neither where it holds it on none
    version           bigint      NOT NULL CHECK (version > 0),
    changed_by        text        NOT NULL,
    changed_at        timestamptz NOT NULL,
    PRIMARY KEY (coop_id, crop_id),
    FOREIGN KEY (coop_id, room_id) REFERENCES room,
    FOREIGN KEY (coop_id, farm_id) REFERENCES farm,
    FOREIGN KEY (coop_id, programme_id, programme_version) REFERENCES programme_version,
    CHECK ((state = 'ended') = (ended_date IS NOT NULL)),
    CHECK (NOT called_off OR (state = 'ended' AND occupied_from IS NULL)),
    CHECK ((occupied_from IS NULL) = (occupied_until IS NULL)),
    CHECK (occupied_from < occupied_until),
    CHECK (fill_date <= first_pick_date AND first_pick_date <= free_date)
);
CREATE INDEX crop_room ON crop (coop_id, room_id, occupied_until);
CREATE INDEX crop_days ON crop (coop_id, free_date, fill_date);
SELECT coop_scoped('crop');

CREATE TABLE crop_stage (
    coop_id           uuid    NOT NULL,
    crop_id           text    NOT NULL,
    ordinal           integer NOT NULL CHECK (ordinal >= 0), -- in the programme's order
    kind              text    NOT NULL CHECK (kind IN
        ('phase I', 'phase II', 'filling', 'spawning', 'spawn run', 'casing', 'case run', 'pinning', 'cropping', 'cook-out', 'idle')),
    start_date        date    NOT NULL,
    end_date          date    NOT NULL,
    earliest_date     date    NOT NULL,
    latest_date       date    NOT NULL,
    actual_start_date date,
    outside_range     boolean NOT NULL,
    PRIMARY KEY (coop_id, crop_id, ordinal),
    UNIQUE (coop_id, crop_id, kind),
    FOREIGN KEY (coop_id, crop_id) REFERENCES crop,
    CHECK (start_date <= end_date),
    CHECK (earliest_date <= start_date AND start_date <= latest_date),
    CHECK (actual_start_date IS NULL OR actual_start_date = start_date)
);
SELECT coop_scoped('crop_stage');

-- +goose Down
DROP TABLE crop_stage;
DROP TABLE crop;
