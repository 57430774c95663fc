-- Why: a figure is worth what its instrument was worth when it was read. What is due at an instrument is judged
-- from facts (calibrations, when it was switched on, tiles read again and again); what was due at a reading is kept
-- with the reading, until a person with the right to do so accepts it. A correction between two instruments is
-- applied when readings are compared, never to what is stored.

-- calibration_hours: seven days, or what the maker says if that is sooner.
ALTER TABLE instrument
    ADD COLUMN white_serial text,
    ADD COLUMN white_certified_on date,
    ADD COLUMN white_expires_on date,
    ADD COLUMN calibration_hours smallint NOT NULL DEFAULT 168 CHECK (calibration_hours BETWEEN 1 AND 168),
    ADD COLUMN warm_up_minutes smallint NOT NULL DEFAULT 30 CHECK (warm_up_minutes BETWEEN 0 AND 480),
    ADD CONSTRAINT instrument_white_certificate CHECK (white_serial IS NOT NULL
        OR (white_certified_on IS NULL AND white_expires_on IS NULL));

-- A person says when the instrument was switched on. Where nobody says, its first use is taken, which needs no row.
CREATE TABLE instrument_start (
    id             uuid PRIMARY KEY,
    instrument_id  uuid NOT NULL REFERENCES instrument,
    switched_on_at timestamptz NOT NULL,
    made_by        uuid NOT NULL REFERENCES person,
    received_at    timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX instrument_start_by_instrument ON instrument_start (instrument_id, received_at);

-- What was due at the instrument when the reading was made; rows of before have nothing on record.
ALTER TABLE measurement ADD COLUMN instrument_due text[] NOT NULL DEFAULT '{}'
    CHECK (instrument_due <@ ARRAY['calibration_overdue', 'black_not_read', 'not_warmed_up', 'certificate_expired']);
CREATE INDEX measurement_by_instrument ON measurement (instrument_id, received_at) WHERE instrument_id IS NOT NULL;

CREATE TABLE measurement_acceptance (
    id             uuid PRIMARY KEY,
    measurement_id uuid NOT NULL UNIQUE REFERENCES measurement,
    match_id       uuid NOT NULL REFERENCES match,
    accepted_by    uuid NOT NULL REFERENCES person,
    accepted_at    timestamptz NOT NULL DEFAULT now()
);
ALTER TABLE note DROP CONSTRAINT note_about_check, ADD CONSTRAINT note_about_check
    CHECK (about IN ('match', 'revision', 'drawdown', 'tint', 'tint_fault', 'acceptance'));

-- To find the match that a measurement belongs to.
CREATE INDEX match_by_sample ON match (sample_id);
CREATE INDEX drawdown_by_measurement ON drawdown (measurement_id);

-- A set of tiles of a store, read over time; name: what files call it.
CREATE TABLE tile (
    id          uuid PRIMARY KEY,
    store_id    uuid NOT NULL REFERENCES store,
    name        text NOT NULL,
    hue         text CHECK (hue IN ('pale_gray', 'mid_gray', 'difference_gray', 'deep_gray', 'deep_pink', 'red',
                    'orange', 'yellow', 'green', 'difference_green', 'cyan', 'deep_blue')),
    certified_l double precision,
    certified_a double precision,
    certified_b double precision,
    retired_at  timestamptz,
    version     integer NOT NULL DEFAULT 1,
    created_at  timestamptz NOT NULL DEFAULT now(),
    UNIQUE (store_id, name),
    CHECK (num_nulls(certified_l, certified_a, certified_b) IN (0, 3))
);

CREATE TABLE tile_reading (
    id            uuid PRIMARY KEY,
    tile_id       uuid NOT NULL REFERENCES tile,
    instrument_id uuid NOT NULL REFERENCES instrument,
    start_nm      real NOT NULL CHECK (start_nm > 0),
    step_nm       real CHECK (step_nm > 0),
    wavelengths_nm double precision[],
    reflectance   real[] NOT NULL CHECK (cardinality(reflectance) BETWEEN 2 AND 1000),
    ends_extended boolean NOT NULL,
    specular      text CHECK (specular IN ('included', 'excluded')),
    temperature_c real,
    read_at       timestamptz NOT NULL,
    made_by       uuid NOT NULL REFERENCES person,
    received_at   timestamptz NOT NULL DEFAULT now(),
    CHECK ((step_nm IS NULL) = (wavelengths_nm IS NOT NULL)),
    CHECK (wavelengths_nm IS NULL
           OR (cardinality(wavelengths_nm) = cardinality(reflectance)
               AND array_position(wavelengths_nm, NULL) IS NULL
               AND start_nm = wavelengths_nm[1]::real))
);
CREATE INDEX tile_reading_by_instrument ON tile_reading (instrument_id, id);
CREATE INDEX tile_reading_in_time ON tile_reading (instrument_id, tile_id, read_at, id);

-- coefficients: as color::instrument::Correction writes them, numbers to 1e-10. digest: SHA-256 of that text.
-- figures: what leaving out each tile in turn gave.
CREATE TABLE instrument_correction (
    id            uuid PRIMARY KEY,
    instrument_id uuid NOT NULL REFERENCES instrument,
    reference_id  uuid NOT NULL REFERENCES instrument,
    version       integer NOT NULL CHECK (version > 0),
    coefficients  text NOT NULL,
    digest        text NOT NULL,
    specular      text CHECK (specular IN ('included', 'excluded')),
    figures       jsonb NOT NULL,
    fitted_by     uuid NOT NULL REFERENCES person,
    fitted_at     timestamptz NOT NULL DEFAULT now(),
    retired_by    uuid REFERENCES person,
    retired_at    timestamptz,
    UNIQUE (instrument_id, reference_id, version),
    CHECK (instrument_id <> reference_id),
    CHECK (num_nulls(retired_by, retired_at) IN (0, 2))
);
CREATE UNIQUE INDEX instrument_correction_in_force ON instrument_correction (instrument_id, reference_id)
    WHERE retired_at IS NULL;
CREATE INDEX instrument_correction_by_reference ON instrument_correction (reference_id) WHERE retired_at IS NULL;

CREATE TRIGGER instrument_start_is_fact BEFORE UPDATE OR DELETE ON instrument_start
    FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER measurement_acceptance_is_fact BEFORE UPDATE OR DELETE ON measurement_acceptance
    FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER tile_reading_is_fact BEFORE UPDATE OR DELETE ON tile_reading
    FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();

CREATE CONSTRAINT TRIGGER instrument_start_logged AFTER INSERT ON instrument_start
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('instrument_start', 'none');
CREATE CONSTRAINT TRIGGER measurement_acceptance_logged AFTER INSERT ON measurement_acceptance
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('measurement_acceptance', 'match');
CREATE CONSTRAINT TRIGGER tile_logged AFTER INSERT OR UPDATE OR DELETE ON tile
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('tile', 'none');
CREATE CONSTRAINT TRIGGER tile_reading_logged AFTER INSERT ON tile_reading
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('tile_reading', 'none');
CREATE CONSTRAINT TRIGGER instrument_correction_logged AFTER INSERT OR UPDATE OR DELETE ON instrument_correction
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('instrument_correction', 'none');

GRANT SELECT, INSERT ON instrument_start, measurement_acceptance, tile_reading TO secondcan_app;
GRANT SELECT, INSERT, UPDATE ON tile TO secondcan_app;
GRANT SELECT, INSERT ON instrument_correction TO secondcan_app;
GRANT UPDATE (retired_by, retired_at) ON instrument_correction TO secondcan_app;
