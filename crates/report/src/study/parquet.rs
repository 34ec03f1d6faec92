use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};

use super::{Column, Values};

/// A table as an Apache Parquet file, uncompressed: what is not known is null.
///
/// Equal tables give equal bytes.
///
/// # Errors
/// What the library says; nothing a table can hold is known to make it fail.
pub fn parquet(
    columns: &[Column],
) -> std::result::Result<Vec<u8>, Box<dyn std::error::Error + Send + Sync>> {
    Ok(written(columns)?)
}

fn written(columns: &[Column]) -> Result<Vec<u8>> {
    let fields = columns.iter().map(field).collect::<Result<Vec<_>>>()?;
    let schema = Type::group_type_builder("study")
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_created_by("evenstep".to_owned())
        .build();
    let mut bytes = Vec::new();
    let mut writer = SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    for column in columns {
        let Some(mut out) = group.next_column()? else {
            break;
        };
        match &column.values {
            Values::Text(values) => {
                let known: Vec<ByteArray> = values
                    .iter()
                    .flatten()
                    .map(|text| ByteArray::from(text.as_str()))
                    .collect();
                let levels = levels(values);
                out.typed::<ByteArrayType>()
                    .write_batch(&known, Some(&levels), None)?;
            }
            Values::Whole(values) => {
                out.typed::<Int64Type>().write_batch(values, None, None)?;
            }
            Values::Real(values) => {
                let known: Vec<f64> = values.iter().flatten().copied().collect();
                let levels = levels(values);
                out.typed::<DoubleType>()
                    .write_batch(&known, Some(&levels), None)?;
            }
        }
        out.close()?;
    }
    group.close()?;
    writer.close()?;
    Ok(bytes)
}

/// Definition levels of an optional column: 1 where there is a value.
fn levels<T>(values: &[Option<T>]) -> Vec<i16> {
    values.iter().map(|v| i16::from(v.is_some())).collect()
}

fn field(column: &Column) -> Result<TypePtr> {
    let build = |physical, repetition, logical| {
        Type::primitive_type_builder(column.name, physical)
            .with_repetition(repetition)
            .with_logical_type(logical)
            .build()
            .map(Arc::new)
    };
    match column.values {
        Values::Text(_) => build(
            Physical::BYTE_ARRAY,
            Repetition::OPTIONAL,
            Some(LogicalType::String),
        ),
        Values::Whole(_) => build(Physical::INT64, Repetition::REQUIRED, None),
        Values::Real(_) => build(Physical::DOUBLE, Repetition::OPTIONAL, None),
    }
}
