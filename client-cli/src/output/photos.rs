//! Photographs as rows.

use forenoon_proto::v1::Photo;

use super::clock::Times;
use super::grid::Grid;
use crate::names::id;

/// Photographs as rows.
pub fn photos(photos: &[Photo], times: Times) -> Grid {
    let mut grid = Grid::new(&["of", "photo", "type", "bytes", "since"]);
    for photo in photos {
        grid.row([
            id(&photo.subject).to_owned(),
            photo.sha256.clone(),
            photo.media_type.clone(),
            photo.size_bytes.to_string(),
            times.at(photo.create_time.as_ref()),
        ]);
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::super::fixture::CLOCK;
    use super::*;

    #[test]
    fn a_photograph_is_named_by_what_reads_it_back() {
        let photo = Photo {
            subject: "branches/n/tagOuts/t-42".into(),
            sha256: "ab".repeat(32),
            media_type: "image/png".into(),
            size_bytes: 81_920,
            create_time: Some("2027-04-20T15:10:00Z".parse().unwrap()),
        };
        assert_eq!(
            photos(&[photo], Times::Plain(CLOCK)).plain(),
            format!(
                "t-42\t{}\timage/png\t81920\t2027-04-20T10:10:00-05:00\n",
                "ab".repeat(32)
            )
        );
    }
}
