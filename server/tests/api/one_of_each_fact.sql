-- One row in each table of facts, and what they lean on.
INSERT INTO store (id, name, phone_region) VALUES ('01900000-0000-7000-8000-000000000a01', 'Alder Quay', 'US');
INSERT INTO person (id, login, display_name, roles)
VALUES ('01900000-0000-7000-8000-000000000a02', 'wren', 'Wren Tallow', '{clerk}');
INSERT INTO colorant (id, ci_name, pigment) VALUES ('01900000-0000-7000-8000-000000000a03', 'PY42', 'yellow oxide');
INSERT INTO product (id, name, carrier) VALUES ('01900000-0000-7000-8000-000000000a04', 'Lintel', 'water');
INSERT INTO sheen (id, product_id, word, gloss60_min, gloss60_max)
VALUES ('01900000-0000-7000-8000-000000000a05', '01900000-0000-7000-8000-000000000a04', 'satin', 20, 35);
INSERT INTO base (id, product_id, name, kind)
VALUES ('01900000-0000-7000-8000-000000000a06', '01900000-0000-7000-8000-000000000a04', 'light', 'light');
INSERT INTO customer (id, kind, name, store_id, created_by)
VALUES ('01900000-0000-7000-8000-000000000a07', 'person', 'Ivo Marsh', '01900000-0000-7000-8000-000000000a01',
        '01900000-0000-7000-8000-000000000a02');
INSERT INTO instrument (id, store_id, name, model, serial, geometry, apertures_mm)
VALUES ('01900000-0000-7000-8000-000000000a08', '01900000-0000-7000-8000-000000000a01', 'counter', 'sphere', '1',
        'd:8', '{12}');
INSERT INTO calibration (id, instrument_id, made_by, made_at, white_read, black_read)
VALUES ('01900000-0000-7000-8000-000000000a09', '01900000-0000-7000-8000-000000000a08',
        '01900000-0000-7000-8000-000000000a02', now(), true, true);
INSERT INTO measurement (id, start_nm, step_nm, reflectance, as_read, read_as, ends_extended, readings, made_by,
                         store_id)
VALUES ('01900000-0000-7000-8000-000000000a10', 400, 10, '{0.5, 0.5}', '{0.5,0.5}', 'fraction', false, 1,
        '01900000-0000-7000-8000-000000000a02', '01900000-0000-7000-8000-000000000a01');
INSERT INTO measurement_reading (measurement_id, number, reflectance)
VALUES ('01900000-0000-7000-8000-000000000a10', 1, '{0.5, 0.5}');
INSERT INTO match (id, label_code, customer_id, product_id, sheen_id, store_id, sample_id, made_by, made_at)
VALUES ('01900000-0000-7000-8000-000000000a11', '0000000000A', '01900000-0000-7000-8000-000000000a07',
        '01900000-0000-7000-8000-000000000a04', '01900000-0000-7000-8000-000000000a05',
        '01900000-0000-7000-8000-000000000a01', '01900000-0000-7000-8000-000000000a10',
        '01900000-0000-7000-8000-000000000a02', now());
INSERT INTO revision (id, match_id, number, base_id, sheen_id, size, made_by, store_id, made_at)
VALUES ('01900000-0000-7000-8000-000000000a12', '01900000-0000-7000-8000-000000000a11', 1,
        '01900000-0000-7000-8000-000000000a06', '01900000-0000-7000-8000-000000000a05', 'quart',
        '01900000-0000-7000-8000-000000000a02', '01900000-0000-7000-8000-000000000a01', now());
INSERT INTO revision_shot (revision_id, position, colorant_id, count, unit)
VALUES ('01900000-0000-7000-8000-000000000a12', 0, '01900000-0000-7000-8000-000000000a03', 24, '1/48 fl oz');
INSERT INTO drawdown (id, revision_id, match_id, measurement_id, dry, made_by, store_id, made_at)
VALUES ('01900000-0000-7000-8000-000000000a13', '01900000-0000-7000-8000-000000000a12',
        '01900000-0000-7000-8000-000000000a11', '01900000-0000-7000-8000-000000000a10', true,
        '01900000-0000-7000-8000-000000000a02', '01900000-0000-7000-8000-000000000a01', now());
INSERT INTO reorder (id, match_id, store_id, size, cans, state, placed_by, placed_at)
VALUES ('01900000-0000-7000-8000-000000000a14', '01900000-0000-7000-8000-000000000a11',
        '01900000-0000-7000-8000-000000000a01', 'quart', 1, 'placed', '01900000-0000-7000-8000-000000000a02', now());
INSERT INTO reorder_step (reorder_id, number, to_state, made_by)
VALUES ('01900000-0000-7000-8000-000000000a14', 1, 'placed', '01900000-0000-7000-8000-000000000a02');
INSERT INTO tint (id, match_id, revision_id, reorder_id, base_id, size, made_by, store_id, made_at)
VALUES ('01900000-0000-7000-8000-000000000a15', '01900000-0000-7000-8000-000000000a11',
        '01900000-0000-7000-8000-000000000a12', '01900000-0000-7000-8000-000000000a14',
        '01900000-0000-7000-8000-000000000a06', 'quart', '01900000-0000-7000-8000-000000000a02',
        '01900000-0000-7000-8000-000000000a01', now());
INSERT INTO tint_shot (tint_id, position, colorant_id, count, unit)
VALUES ('01900000-0000-7000-8000-000000000a15', 0, '01900000-0000-7000-8000-000000000a03', 24, '1/48 fl oz');
INSERT INTO tint_fault (id, tint_id, match_id, reason, made_by, store_id, made_at)
VALUES ('01900000-0000-7000-8000-000000000a16', '01900000-0000-7000-8000-000000000a15',
        '01900000-0000-7000-8000-000000000a11', 'wrong_color', '01900000-0000-7000-8000-000000000a02',
        '01900000-0000-7000-8000-000000000a01', now());
INSERT INTO instrument_start (id, instrument_id, switched_on_at, made_by)
VALUES ('01900000-0000-7000-8000-000000000a17', '01900000-0000-7000-8000-000000000a08', now(),
        '01900000-0000-7000-8000-000000000a02');
INSERT INTO measurement_acceptance (id, measurement_id, match_id, accepted_by)
VALUES ('01900000-0000-7000-8000-000000000a18', '01900000-0000-7000-8000-000000000a10',
        '01900000-0000-7000-8000-000000000a11', '01900000-0000-7000-8000-000000000a02');
INSERT INTO tile (id, store_id, name)
VALUES ('01900000-0000-7000-8000-000000000a19', '01900000-0000-7000-8000-000000000a01', 'brick');
INSERT INTO tile_reading (id, tile_id, instrument_id, start_nm, step_nm, reflectance, ends_extended, read_at, made_by)
VALUES ('01900000-0000-7000-8000-000000000a20', '01900000-0000-7000-8000-000000000a19',
        '01900000-0000-7000-8000-000000000a08', 400, 10, '{0.5, 0.5}', false, now(),
        '01900000-0000-7000-8000-000000000a02');
