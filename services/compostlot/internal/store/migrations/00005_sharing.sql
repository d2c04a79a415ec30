-- +goose Up
-- How a co-op shares out; without a row, by satisfied share and member shares.
CREATE TABLE share_settings (
    coop_id                 uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    rule                    text        NOT NULL CHECK (rule IN ('satisfied_share', 'equal_awards')),
    weights                 text        NOT NULL CHECK (weights IN ('member_shares', 'equal')),
    haul_minor_per_tonne_km bigint      NOT NULL CHECK (haul_minor_per_tonne_km >= 0),
    version                 bigint      NOT NULL CHECK (version > 0),
    changed_by              text        NOT NULL,
    changed_at              timestamptz NOT NULL,
    PRIMARY KEY (coop_id)
);
SELECT coop_scoped('share_settings');

CREATE TABLE haul_cost (
    coop_id         uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    yard_id         text    NOT NULL,
    farm_id         text    NOT NULL,
    minor_per_tonne bigint  CHECK (minor_per_tonne >= 0),
    distance_km     integer CHECK (distance_km >= 0),
    changed_by      text        NOT NULL,
    changed_at      timestamptz NOT NULL,
    PRIMARY KEY (coop_id, yard_id, farm_id),
    FOREIGN KEY (coop_id, yard_id) REFERENCES yard,
    CHECK (num_nonnulls(minor_per_tonne, distance_km) = 1)
);
SELECT coop_scoped('haul_cost');

ALTER TABLE round
    ADD COLUMN rule text NOT NULL DEFAULT 'satisfied_share' CHECK (rule IN ('satisfied_share', 'equal_awards')),
    ADD COLUMN weights text NOT NULL DEFAULT 'member_shares' CHECK (weights IN ('member_shares', 'equal'));

-- A withdrawn slot gives nothing.
-- +goose StatementBegin
DO $$
DECLARE found text;
BEGIN
    SELECT conname INTO STRICT found FROM pg_constraint
    WHERE conrelid = 'slot'::regclass AND pg_get_constraintdef(oid) LIKE '%free_kg = capacity_kg%';
    EXECUTE format('ALTER TABLE slot DROP CONSTRAINT %I', found);
END $$;
-- +goose StatementEnd
ALTER TABLE slot
    DROP CONSTRAINT slot_state_check,
    ADD CHECK (state IN ('open', 'shared', 'withdrawn')),
    ADD CHECK (state <> 'open' OR free_kg = capacity_kg),
    ADD CHECK (state <> 'withdrawn' OR free_kg = 0),
    ADD COLUMN withdrawal_notice text CHECK (withdrawal_notice <> ''),
    ADD COLUMN withdrawn_by text,
    ADD COLUMN withdrawn_at timestamptz,
    ADD CHECK ((state = 'withdrawn') = (withdrawal_notice IS NOT NULL)),
    ADD CHECK (num_nulls(withdrawal_notice, withdrawn_by, withdrawn_at) IN (0, 3));

-- A share that a withdrawn slot undid: what it had is kept beside the nothing that it has.
ALTER TABLE share
    DROP CONSTRAINT share_limited_by_check,
    ADD CHECK (limited_by IN ('asked_in_full', 'slots_full', 'no_slot_in_window', 'below_smallest', 'slot_withdrawn')),
    ADD COLUMN had_kg bigint CHECK (had_kg > 0),
    ADD CHECK ((limited_by = 'slot_withdrawn') = (had_kg IS NOT NULL)),
    ADD CHECK (limited_by <> 'slot_withdrawn' OR granted_kg = 0);

-- +goose Down
DROP TABLE haul_cost, share_settings;
