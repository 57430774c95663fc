-- Why: some instruments read at steps that are no whole number of nanometers (ten in three), or at uneven ones. Their
-- wavelengths are kept as they were read; interpolating them to an even step would keep numbers nobody measured.

-- Null exactly where start_nm and step_nm say it all; else one wavelength for each value, the first in start_nm too.
ALTER TABLE measurement ADD COLUMN wavelengths_nm double precision[];
ALTER TABLE measurement ALTER COLUMN step_nm DROP NOT NULL;
ALTER TABLE measurement ADD CONSTRAINT measurement_step_or_wavelengths
    CHECK ((step_nm IS NULL) = (wavelengths_nm IS NOT NULL));
ALTER TABLE measurement ADD CONSTRAINT measurement_wavelength_for_each_value
    CHECK (wavelengths_nm IS NULL
           OR (cardinality(wavelengths_nm) = cardinality(reflectance)
               AND array_position(wavelengths_nm, NULL) IS NULL
               AND start_nm = wavelengths_nm[1]::real));
