-- Why: two paints that match in daylight can part under a shop's lamps, so each store says under which lights it
-- judges. And where one sample was read several times, each reading is kept beside their average: the spread says how
-- far the average can be trusted, and a slip can still be found a year later.

-- CIE names; the first is the one that the others are compared with.
ALTER TABLE store ADD COLUMN lights text[] NOT NULL DEFAULT '{D65,A,LED-B3}'
    CHECK (cardinality(lights) BETWEEN 1 AND 6 AND array_position(lights, NULL) IS NULL);

-- Fractions at the wavelengths of the measurement, numbered from 1 in the order in which they were read.
CREATE TABLE measurement_reading (
    measurement_id uuid NOT NULL REFERENCES measurement,
    number         smallint NOT NULL CHECK (number > 0),
    reflectance    real[] NOT NULL CHECK (cardinality(reflectance) BETWEEN 2 AND 1000),
    PRIMARY KEY (measurement_id, number)
);
CREATE TRIGGER measurement_reading_is_fact BEFORE UPDATE OR DELETE ON measurement_reading
    FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
GRANT SELECT, INSERT ON measurement_reading TO secondcan_app;
