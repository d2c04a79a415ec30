-- +goose Up
-- A weighing may take the place of an earlier one; one that withdraws weighs
-- nothing.
ALTER TABLE pick
    ADD COLUMN break_proposed    boolean NOT NULL DEFAULT false,
    ADD COLUMN store_id          text    NOT NULL DEFAULT '', -- empty where not noted
    ADD COLUMN parts             jsonb   NOT NULL DEFAULT '[]',
    ADD COLUMN corrects_pick_id  uuid,                        -- NULL for a first one
    ADD COLUMN correction_reason text    NOT NULL DEFAULT '',
    ADD COLUMN place             bigint  GENERATED ALWAYS AS IDENTITY, -- the order of recording
    DROP CONSTRAINT pick_check,
    ADD CONSTRAINT pick_weight CHECK (gross_grams > tare_grams OR (gross_grams = 0 AND tare_grams = 0 AND corrects_pick_id IS NOT NULL)),
    ADD CONSTRAINT pick_corrects CHECK ((corrects_pick_id IS NULL) = (correction_reason = '')),
    -- No row of old has one; looking through them is not for the owner, who sees no co-op's.
    ADD FOREIGN KEY (coop_id, corrects_pick_id) REFERENCES pick NOT VALID;
CREATE UNIQUE INDEX pick_corrected_once ON pick (coop_id, corrects_pick_id);

CREATE TABLE discard (
    coop_id     uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    discard_id  uuid        NOT NULL,
    pick_lot_id text        NOT NULL,
    grams       bigint      NOT NULL CHECK (grams > 0),
    reason      smallint    NOT NULL CHECK (reason BETWEEN 1 AND 6), -- as in the contract
    note        text        NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by text        NOT NULL,
    PRIMARY KEY (coop_id, discard_id),
    FOREIGN KEY (coop_id, pick_lot_id) REFERENCES pick_lot
);
CREATE INDEX discard_of_lot ON discard (coop_id, pick_lot_id);
SELECT coop_scoped('discard');
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE ON discard
    FOR EACH ROW EXECUTE FUNCTION append_only();

ALTER TABLE pick_lot
    ADD COLUMN discarded_grams bigint      NOT NULL DEFAULT 0 CHECK (discarded_grams >= 0),
    ADD COLUMN store_id        text        NOT NULL DEFAULT '', -- where its newest weighing went
    ADD COLUMN picked_at       timestamptz,                     -- NULL until something was picked
    ADD CHECK (discarded_grams <= net_grams);

-- What order told has left, by lot.
CREATE TABLE lot_dispatch (
    coop_id     uuid   NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    dispatch_id text   NOT NULL,
    pick_lot_id text   NOT NULL,
    product_id  text   NOT NULL,
    packs       bigint NOT NULL CHECK (packs > 0),
    PRIMARY KEY (coop_id, dispatch_id, pick_lot_id)
);
CREATE INDEX lot_dispatch_lot ON lot_dispatch (coop_id, pick_lot_id);
SELECT coop_scoped('lot_dispatch');

CREATE TABLE cold_store (
    coop_id  uuid NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    store_id text NOT NULL CHECK (store_id <> ''),
    farm_id  text NOT NULL CHECK (farm_id <> ''),
    name     text NOT NULL CHECK (name <> ''),
    PRIMARY KEY (coop_id, store_id)
);
SELECT coop_scoped('cold_store');

CREATE TABLE store_reading (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    store_id     text        NOT NULL,
    time         timestamptz NOT NULL,
    air_tenths_c int         NOT NULL CHECK (air_tenths_c BETWEEN -400 AND 600),
    PRIMARY KEY (coop_id, store_id, time),
    FOREIGN KEY (coop_id, store_id) REFERENCES cold_store
);
SELECT coop_scoped('store_reading');

-- Pests and diseases seen in rooms.
CREATE TABLE incident (
    coop_id             uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    incident_id         uuid        NOT NULL,
    room_id             text        NOT NULL,
    farm_id             text        NOT NULL,
    pest                text        NOT NULL CHECK (pest <> ''),
    counts              jsonb       NOT NULL,
    crop_value_minor    bigint      CHECK (crop_value_minor >= 0),
    control_cost_minor  bigint      CHECK (control_cost_minor >= 0),
    growth_per_mille    int         NOT NULL CHECK (growth_per_mille BETWEEN 0 AND 1000),
    note                text        NOT NULL,
    holds               boolean     NOT NULL,
    expected_loss_minor bigint,
    verdict             smallint    NOT NULL CHECK (verdict BETWEEN 0 AND 3), -- 0 where there is nothing to compare
    threshold_source    text        NOT NULL,
    infects             boolean     NOT NULL, -- a disease, or a pest at or above its threshold
    reported_at         timestamptz NOT NULL,
    reported_by         text        NOT NULL,
    closed_at           timestamptz,
    closed_by           text        NOT NULL DEFAULT '',
    outcome             text        NOT NULL DEFAULT '',
    PRIMARY KEY (coop_id, incident_id),
    CHECK ((closed_at IS NULL) = (outcome = ''))
);
CREATE INDEX incident_open ON incident (coop_id, room_id) WHERE closed_at IS NULL;
SELECT coop_scoped('incident');

CREATE TABLE incident_photo (
    coop_id     uuid  NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    incident_id uuid  NOT NULL,
    media_type  text  NOT NULL,
    photo       bytea NOT NULL CHECK (octet_length(photo) BETWEEN 1 AND 2097152),
    PRIMARY KEY (coop_id, incident_id),
    FOREIGN KEY (coop_id, incident_id) REFERENCES incident
);
SELECT coop_scoped('incident_photo');

-- What growing costs, minor units; programme_id is empty for all that have none
-- of their own.
CREATE TABLE crop_costs (
    coop_id               uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    programme_id          text        NOT NULL,
    fill_minor_per_m2     bigint      NOT NULL CHECK (fill_minor_per_m2 >= 0),
    spawn_minor_per_m2    bigint      NOT NULL CHECK (spawn_minor_per_m2 >= 0),
    casing_minor_per_m2   bigint      NOT NULL CHECK (casing_minor_per_m2 >= 0),
    cook_out_minor_per_m2 bigint      NOT NULL CHECK (cook_out_minor_per_m2 >= 0),
    room_day_minor_per_m2 bigint      NOT NULL CHECK (room_day_minor_per_m2 >= 0),
    picking_minor_per_kg  bigint      NOT NULL CHECK (picking_minor_per_kg >= 0),
    handling_minor_per_kg bigint      NOT NULL CHECK (handling_minor_per_kg >= 0),
    version               bigint      NOT NULL CHECK (version >= 1),
    changed_by            text        NOT NULL,
    changed_at            timestamptz NOT NULL,
    PRIMARY KEY (coop_id, programme_id)
);
SELECT coop_scoped('crop_costs');

-- +goose Down
DROP TABLE crop_costs;
DROP TABLE incident_photo;
DROP TABLE incident;
DROP TABLE store_reading;
DROP TABLE cold_store;
DROP TABLE lot_dispatch;
ALTER TABLE pick_lot DROP COLUMN discarded_grams, DROP COLUMN store_id, DROP COLUMN picked_at;
DROP TABLE discard;
DROP INDEX pick_corrected_once;
ALTER TABLE pick DROP CONSTRAINT pick_weight, DROP CONSTRAINT pick_corrects,
    DROP COLUMN break_proposed, DROP COLUMN store_id, DROP COLUMN parts,
    DROP COLUMN corrects_pick_id, DROP COLUMN correction_reason, DROP COLUMN place,
    ADD CONSTRAINT pick_check CHECK (gross_grams > tare_grams);
