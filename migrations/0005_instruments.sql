-- Why: a reading is worth what its instrument was worth that day. Instruments and calibrations are plain records
-- here; whether one is due or in tolerance is judged from them.

CREATE TABLE instrument (
    id         uuid PRIMARY KEY,
    store_id   uuid NOT NULL REFERENCES store,
    name       text NOT NULL,
    model      text NOT NULL,
    serial     text NOT NULL,
    geometry   text NOT NULL CHECK (geometry IN ('45:0', '45a:0', 'd:8')),
    apertures_mm real[] NOT NULL CHECK (cardinality(apertures_mm) > 0),
    retired_at timestamptz,
    version    integer NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (model, serial)
);
CREATE INDEX instrument_by_store ON instrument (store_id, id);

CREATE TABLE calibration (
    id            uuid PRIMARY KEY,
    instrument_id uuid NOT NULL REFERENCES instrument,
    made_by       uuid NOT NULL REFERENCES person,
    made_at       timestamptz NOT NULL,
    received_at   timestamptz NOT NULL DEFAULT now(),
    white_read    boolean NOT NULL,
    black_read    boolean NOT NULL,
    temperature_c real,
    CHECK (white_read OR black_read)
);
CREATE INDEX calibration_by_instrument ON calibration (instrument_id, made_at);

CREATE TRIGGER calibration_is_fact BEFORE UPDATE OR DELETE ON calibration
    FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE CONSTRAINT TRIGGER instrument_logged AFTER INSERT OR UPDATE OR DELETE ON instrument
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('instrument', 'none');
CREATE CONSTRAINT TRIGGER calibration_logged AFTER INSERT ON calibration
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('calibration', 'none');

GRANT SELECT, INSERT, UPDATE ON instrument TO secondcan_app;
GRANT SELECT, INSERT ON calibration TO secondcan_app;
