//! CxF3 (ISO 17972-1) files, ours and published ones.

use color::exchange::FileFormat;
use color::{Backing, Conditions, Filter, Geometry, Scale, Specular, Tag};

use crate::*;

fn read_geometry(choice: &str, rest: &str) -> (Conditions, SpectraFile) {
    let measured = format!(
        "<GeometryChoice>{choice}</GeometryChoice><WavelengthRange StartWL=\"400\" \
         Increment=\"10\"/>{rest}"
    );
    let file = assert_reads_as_wanted(iso17972_with(&list(), &measured));
    (file.readings[0].conditions, file)
}

#[test]
fn a_file_with_everything() {
    let (conditions, file) = read_geometry(
        "<SphereGeometry>Specular_Included</SphereGeometry>",
        "<CalibrationStandard>house tile 4</CalibrationStandard><Aperture>8 mm</Aperture>\
         <Backing>Matte black</Backing><Device><Manufacturer>Own Works</Manufacturer>\
         <Model>Sphere No. 2</Model><SerialNumber>0042</SerialNumber>\
         <DeviceIllumination>M1_Daylight</DeviceIllumination></Device>",
    );
    assert_eq!(file.format, FileFormat::Iso17972);
    assert_eq!(file.scale, Scale::Fraction);
    assert_eq!(
        conditions,
        Conditions {
            geometry: Some(Geometry::DiffuseTo8),
            specular: Some(Specular::Included),
            backing: Some(Backing::Black),
            aperture_mm: Some(8.0),
            filter: Some(Filter::M1),
        }
    );
    let reading = &file.readings[0];
    assert_eq!(reading.name, "chip");
    assert_eq!(
        reading.details.date.as_deref(),
        Some("2026-03-14T09:30:00Z")
    );
    assert_eq!(reading.details.gloss60, Some(12.5));
    let instrument = &reading.details.instrument;
    assert_eq!(instrument.maker.as_deref(), Some("Own Works"));
    assert_eq!(instrument.model.as_deref(), Some("Sphere No. 2"));
    assert_eq!(instrument.serial.as_deref(), Some("0042"));
    let lot = Tag {
        group: "job".to_owned(),
        ..Tag::new("lot", "12 & 13")
    };
    assert_eq!(
        reading.tags,
        [
            Tag::new("Object/ObjectType", "Standard"),
            Tag::new("Object/Id", "chip-1"),
            Tag::new("Comment", "from the lobby"),
            lot,
            Tag::new("PhysicalAttributes/FinishType", "Matte"),
            Tag::new("PhysicalAttributes/Gloss/@Method", "ISO 2813, 60 degrees"),
            Tag::new("PhysicalAttributes/Gloss", "12.50"),
            Tag::new("MeasurementSpec/CalibrationStandard", "house tile 4"),
            Tag::new("MeasurementSpec/Backing", "Matte black"),
            Tag::new("ColorSpecification/Id", "spec1"),
        ]
    );
    assert_eq!(
        file.tags,
        [
            Tag::new("Creator", "Brightwater Paint, branch North"),
            Tag::new("shift", "morning"),
        ]
    );
    assert_eq!(
        file.assumed,
        ["SphereGeometry was taken as d:8; the file does not state the angle"]
    );
}

#[test]
fn geometries() {
    let single = |configuration: &str, light: &str, eye: &str| {
        format!(
            "<SingleAngle><SingleAngleConfiguration>{configuration}</SingleAngleConfiguration>\
             <IlluminationAngle>{light}</IlluminationAngle><MeasurementAngle>{eye}\
             </MeasurementAngle></SingleAngle>"
        )
    };
    let of = |choice: &str| read_geometry(choice, "").0;
    assert_eq!(
        of(&single("Annular", "45.0", "0")).geometry,
        Some(Geometry::Annular45To0)
    );
    assert_eq!(
        of(&single("Uniplanar", "45", "0")).geometry,
        Some(Geometry::Deg45To0)
    );
    assert_eq!(
        of(&single("Uniplanar", "0", "45")).geometry,
        Some(Geometry::Deg45To0)
    );
    assert_eq!(of(&single("Uniplanar", "30", "0")).geometry, None);
    assert_eq!(
        of("<UnknownGeometry>not stated</UnknownGeometry>"),
        Conditions::default()
    );
    let (conditions, file) = read_geometry("<UnknownGeometry>through a pipe</UnknownGeometry>", "");
    assert_eq!(conditions, Conditions::default());
    assert!(file.readings[0].tags.contains(&Tag::new(
        "MeasurementSpec/GeometryChoice/UnknownGeometry",
        "through a pipe"
    )));
    let angle = "<BRDFAngle Notation=\"15as\"><IlluminationAngle>45</IlluminationAngle>\
                 <Aspecular>15</Aspecular></BRDFAngle>";
    let (conditions, file) = read_geometry(&format!("<MultiAngle>{angle}{angle}</MultiAngle>"), "");
    assert_eq!(conditions.geometry, None);
    assert!(
        file.assumed.iter().any(|said| said.contains("MultiAngle")),
        "{:?}",
        file.assumed
    );
    let path = "MeasurementSpec/GeometryChoice/MultiAngle/BRDFAngle[2]/Aspecular";
    assert!(file.readings[0].tags.contains(&Tag::new(path, "15")));
}

#[test]
fn start_and_increment_where_they_stand() {
    let values = list();
    let unknown = "<GeometryChoice><UnknownGeometry>x</UnknownGeometry></GeometryChoice>";
    let at_spectrum = values.replace(
        "<ReflectanceSpectrum",
        "<ReflectanceSpectrum StartWL=\"400\"",
    );
    let file = assert_reads_as_wanted(iso17972_with(&at_spectrum, unknown));
    assert!(
        file.assumed.contains(
            &"chip has 31 values and no Increment; 10 nm was taken, the only one of the \
              standard's increments that fits"
                .to_owned()
        ),
        "{:?}",
        file.assumed
    );
    assert_eq!(
        refused(iso17972_with(&values, unknown)).to_string(),
        "line 13, chip: 31 values without StartWL; export the measurement with its WavelengthRange"
    );
    let lost = values.replace("spec1", "elsewhere");
    let error = refused(iso17972_with(&lost, UNKNOWN_BY_10));
    assert!(error.to_string().contains("without StartWL"), "{error}");
    let few = "<ReflectanceSpectrum StartWL=\"400\" ColorSpecification=\"spec1\">0.3 0.4\
               </ReflectanceSpectrum>";
    let error = refused(iso17972_with(few, unknown));
    assert!(
        error.to_string().contains("2 values without Increment"),
        "{error}"
    );
}

#[test]
fn prefixes_several_spectra_and_other_values() {
    let prefixed = iso17972()
        .replace("xmlns=", "xmlns:cc=")
        .replace("</", "</cc:")
        .replace("<cc:", "<")
        .replace('<', "<cc:")
        .replace("<cc:/", "</")
        .replace("<cc:?xml", "<?xml");
    assert!(prefixed.contains("</cc:CxF>"), "{prefixed}");
    let file = assert_reads_as_wanted(prefixed);
    assert!(file.assumed.is_empty(), "{:?}", file.assumed);

    let several = format!(
        "{0}<ColorCIELab ColorSpecification=\"spec1\"><L>50.0</L><A>1</A><B>2</B></ColorCIELab>{0}",
        list()
    );
    let file = read(iso17972_with(&several, UNKNOWN_BY_10)).unwrap();
    let names: Vec<&str> = file.readings.iter().map(|one| one.name.as_str()).collect();
    assert_eq!(names, ["chip", "chip (2)"]);
    for reading in &file.readings {
        assert!(
            reading
                .tags
                .contains(&Tag::new("ColorValues/ColorCIELab/L", "50.0"))
        );
    }

    let plain = iso17972().replace(" xmlns=\"http://colorexchangeformat.com/CxF3-core\"", "");
    let file = assert_reads_as_wanted(plain);
    assert!(file.assumed[0].contains("namespace"), "{:?}", file.assumed);
}

#[test]
fn objects_without_spectra_are_kept() {
    let text = iso17972().replace(
        "</ObjectCollection>",
        "<Object ObjectType=\"Trial\" Name=\"door\" Id=\"d\"><CreationDate>2026-03-14T09:31:00Z\
         </CreationDate><ColorValues><ColorCIELab ColorSpecification=\"lab\"><L>40</L><A>1</A>\
         <B>2</B></ColorCIELab><TransmittanceSpectrum ColorSpecification=\"lab\">0.1 0.2\
         </TransmittanceSpectrum></ColorValues></Object></ObjectCollection>",
    );
    let file = assert_reads_as_wanted(text);
    let [door] = &file.without_spectrum[..] else {
        panic!("{:?}", file.without_spectrum);
    };
    assert_eq!(door.name, "door");
    assert_eq!(door.holds, "ColorCIELab, TransmittanceSpectrum");
    assert!(
        door.tags
            .contains(&Tag::new("ColorValues/ColorCIELab/L", "40"))
    );
    assert!(
        door.tags
            .contains(&Tag::new("CreationDate", "2026-03-14T09:31:00Z"))
    );
    assert_eq!(
        file.assumed,
        ["1 object(s) have no reflectance spectrum; they were kept but not used: door"]
    );
}

#[test]
fn points_of_a_custom_spectrum() {
    let points = |nms: &mut dyn Iterator<Item = u16>| {
        let points: String = nms
            .map(|nm| format!("<SpectralPoint WL=\"{nm}.0\">{}</SpectralPoint>", value(nm)))
            .collect();
        format!("<CustomSpectrum ColorSpecification=\"spec1\">{points}</CustomSpectrum>")
    };
    let file = assert_reads_as_wanted(iso17972_with(&points(&mut grid()), UNKNOWN_BY_10));
    assert!(file.assumed.is_empty(), "{:?}", file.assumed);
    let mut shuffled = grid()
        .filter(|nm| nm % 20 == 0)
        .chain(grid().filter(|nm| nm % 20 != 0));
    let file = assert_reads_as_wanted(iso17972_with(&points(&mut shuffled), UNKNOWN_BY_10));
    assert_eq!(
        file.assumed[0],
        "the points of chip were sorted by wavelength"
    );
    let other_kind = iso17972_with(&points(&mut grid()), UNKNOWN_BY_10)
        .replace("Spectrum_Reflectance", "Spectrum_Custom");
    let file = assert_reads_as_wanted(other_kind);
    assert!(
        file.assumed[0].contains("read as reflectance")
            && file.assumed[1].contains("does not state its unit"),
        "{:?}",
        file.assumed
    );
}

#[test]
fn charsets() {
    let text = iso17972().replace("Name=\"chip\"", "Name=\"Tu\u{fc}r\"");
    let latin = |declared: &str| -> Vec<u8> {
        text.replace("UTF-8", declared)
            .chars()
            .map(|c| u8::try_from(c).unwrap())
            .collect()
    };
    let file = assert_reads_as_wanted(latin("ISO-8859-1"));
    assert_eq!(file.readings[0].name, "Tu\u{fc}r");
    let mut wide = vec![0xFF, 0xFE];
    wide.extend(
        text.replace("UTF-8", "UTF-16")
            .encode_utf16()
            .flat_map(u16::to_le_bytes),
    );
    assert_eq!(assert_reads_as_wanted(wide).readings[0].name, "Tu\u{fc}r");
}

/// The sample files of an open-source reader (BSD-3-Clause): what each of them comes to.
#[test]
fn published_files() {
    let mut read_any = false;
    for (name, wanted) in [
        ("minimal_cxf.cxf", "no object at all"),
        ("empty_sections.cxf", "no object at all"),
        ("object_required_only.cxf", "1 object(s) without color"),
        ("multiple_objects.cxf", "10 object(s) without color"),
        ("custom_resources.cxf", "no object at all"),
        ("geometry_edge_cases.cxf", "object(s) with ColorCIELab"),
        ("id_reference_validation.cxf", "object(s) with ColorCIELab"),
        (
            "unicode_special_characters.cxf",
            "object(s) with ColorCIELab",
        ),
        // Its points are unevenly spaced, some twice.
        (
            "custom_spectrum_irregular.cxf",
            "nothing was measured between 415.8 and 450 nm",
        ),
        // One value, values above 2, and −0.09.
        ("spectral_data_boundaries.cxf", "Extreme Reflectance Sample"),
    ] {
        let Some(path) = reference(name) else {
            eprintln!("skipped: {name} is not on this machine");
            continue;
        };
        read_any = true;
        let error = read(std::fs::read(path).unwrap()).unwrap_err().to_string();
        assert!(error.contains(wanted), "{name}: {error}");
    }
    // The spectrum that is one, out of the file of boundaries.
    if let Some(path) = reference("spectral_data_boundaries.cxf") {
        let text = std::fs::read_to_string(path).unwrap();
        let begin = text
            .find("<Object ObjectType=\"Standard\" Name=\"Extreme")
            .unwrap();
        let middle = text
            .find("<Object ObjectType=\"Standard\" Name=\"Fluor")
            .unwrap();
        let end = text
            .find("<Object ObjectType=\"Standard\" Name=\"Minimal")
            .unwrap();
        let close = text.find("</ObjectCollection>").unwrap();
        let one = format!("{}{}{}", &text[..begin], &text[middle..end], &text[close..]);
        // 2.95 is more than paint reflects, and 20 values by 20 nm begin at 400.
        assert!(read(&one).unwrap_err().to_string().contains("above 2"));
        let one = one.replace(
            "2.1 2.4 2.7 2.95 2.8 2.5 2.2",
            "1.9 1.9 1.9 1.9 1.9 1.9 1.9",
        );
        let file = read(&one).unwrap();
        let reading = &file.readings[0];
        assert_eq!(reading.conditions.geometry, Some(Geometry::Annular45To0));
        let grid = reading.spectrum.wavelengths().even().unwrap();
        assert_eq!((grid.start_nm(), grid.step_nm()), (400, 20));
        assert_eq!(reading.as_read.len(), 20);
    }
    if !read_any {
        eprintln!("skipped: no published file is on this machine");
    }
}
