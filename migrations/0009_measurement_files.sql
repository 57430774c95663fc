-- Why: a file that an instrument's program wrote says more than numbers: keywords, tags, who exported it and when.
-- All of it is kept, and since it may name a person it stands apart from the facts, where erasure can remove it.

ALTER TABLE measurement ADD COLUMN filter text CHECK (filter IN ('M0', 'M1', 'M2', 'M3'));

CREATE TABLE measurement_file (
    measurement_id uuid PRIMARY KEY REFERENCES measurement,
    format  text NOT NULL CHECK (format IN ('csv_wide', 'csv_long', 'iso28178', 'iso17972')),
    sample  text NOT NULL,
    maker   text,
    model   text,
    serial  text,
    -- As written in the file; measurement.measured_at holds it where it could be read as a time.
    date    text,
    -- [{"group": …, "name": …, "value": …}], in the order of the file.
    tags    jsonb NOT NULL,
    assumed text[] NOT NULL
);

GRANT SELECT, INSERT, DELETE ON measurement_file TO secondcan_app;
