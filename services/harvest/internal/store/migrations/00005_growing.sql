-- +goose Up
-- How crops grow, what products are picked as, and the co-op's time zone, as
-- others told.
ALTER TABLE crop
    ADD COLUMN area_m2              int   CHECK (area_m2 > 0), -- NULL where nobody told
    ADD COLUMN programme_id         text  NOT NULL DEFAULT '',
    ADD COLUMN programme_version    int   NOT NULL DEFAULT 0,
    ADD COLUMN steps                jsonb NOT NULL DEFAULT '[]',
    ADD COLUMN profile              jsonb; -- NULL where nobody told: lists of crops leave it out
CREATE INDEX crop_dates ON crop (coop_id, fill_date, free_date);

ALTER TABLE product
    ADD COLUMN pick_stage       text   NOT NULL DEFAULT '', -- empty for none
    ADD COLUMN grade            text   NOT NULL DEFAULT '',
    ADD COLUMN pack_grams       bigint CHECK (pack_grams > 0), -- NULL where nobody told
    ADD COLUMN pack_value_minor bigint CHECK (pack_value_minor >= 0);

ALTER TABLE room ADD COLUMN name text NOT NULL DEFAULT '';

CREATE TABLE coop (
    coop_id       uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    time_zone     text   NOT NULL CHECK (time_zone <> ''),
    currency_code text   NOT NULL,
    version       bigint NOT NULL CHECK (version >= 1),
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('coop');

-- The co-ops that there are, and nothing else of them: what runs by the clock
-- has no caller and must know for whom to run. So the service may read all rows.
CREATE TABLE coop_roll (
    coop_id uuid NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('coop_roll');
-- +goose StatementBegin
DO $$
BEGIN
    EXECUTE format('CREATE POLICY roll ON coop_roll FOR SELECT TO %I USING (true)', 'breakshare_' || current_schema());
END
$$;
-- +goose StatementEnd

-- Whether figures came after the cut-off, and whether the forecast stands in.
ALTER TABLE expected_pick
    ADD COLUMN late     boolean NOT NULL DEFAULT false,
    ADD COLUMN stand_in boolean NOT NULL DEFAULT false;
ALTER TABLE expected_pick_version
    ADD COLUMN late     boolean NOT NULL DEFAULT false,
    ADD COLUMN stand_in boolean NOT NULL DEFAULT false;

-- What was said, modelled and used of each pick lot when its day was closed;
-- closing again brings it up to date.
CREATE TABLE outlook (
    coop_id          uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_lot_id      text        NOT NULL,
    said_low         bigint, -- NULL where nobody pushed
    said_likely      bigint,
    said_high        bigint,
    fixed_low        bigint, -- what was said, corrected for habit
    fixed_likely     bigint,
    fixed_high       bigint,
    model_low        bigint, -- NULL where the model cannot say
    model_likely     bigint,
    model_high       bigint,
    combined_low     bigint      NOT NULL, -- before the last correction
    combined_likely  bigint      NOT NULL,
    combined_high    bigint      NOT NULL,
    used_low         bigint      NOT NULL,
    used_likely      bigint      NOT NULL,
    used_high        bigint      NOT NULL,
    push_per_mille   int         NOT NULL CHECK (push_per_mille BETWEEN 0 AND 1000),
    closed_at        timestamptz NOT NULL,
    PRIMARY KEY (coop_id, pick_lot_id),
    FOREIGN KEY (coop_id, pick_lot_id) REFERENCES pick_lot,
    CHECK (0 <= used_low AND used_low <= used_likely AND used_likely <= used_high),
    CHECK (said_low IS NOT NULL OR model_low IS NOT NULL)
);
SELECT coop_scoped('outlook');

-- Days of picking that were closed.
CREATE TABLE day_closed (
    coop_id   uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    date      date        NOT NULL,
    closed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, date)
);
SELECT coop_scoped('day_closed');

-- +goose Down
DROP TABLE day_closed;
DROP TABLE outlook;
ALTER TABLE expected_pick_version DROP COLUMN late, DROP COLUMN stand_in;
ALTER TABLE expected_pick DROP COLUMN late, DROP COLUMN stand_in;
DROP TABLE coop_roll;
DROP TABLE coop;
ALTER TABLE room DROP COLUMN name;
ALTER TABLE product DROP COLUMN pick_stage, DROP COLUMN grade, DROP COLUMN pack_grams, DROP COLUMN pack_value_minor;
DROP INDEX crop_dates;
ALTER TABLE crop DROP COLUMN area_m2, DROP COLUMN programme_id, DROP COLUMN programme_version, DROP COLUMN steps, DROP COLUMN profile;
