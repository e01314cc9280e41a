#pragma once
/// The tables that every recording has, as schema.sql makes them: the record that is a row of each, and its columns. To
/// add a column, add it there and here.
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/record/format/layout.hpp"
#include "server/record/format/stored_row.hpp"

namespace turnstone {

struct MetaRow {
    std::string key, value;
};
struct VehicleRow {
    std::int64_t id = 0;
    std::string name, dictionary_json, vehicle_json;
    friend bool operator==(const VehicleRow&, const VehicleRow&) = default;
};
struct VehicleFileRow {
    std::int64_t vehicle = 0;
    std::string name, text;
    friend bool operator==(const VehicleFileRow&, const VehicleFileRow&) = default;
};
struct SiteRow {
    std::string site_json;
    friend bool operator==(const SiteRow&, const SiteRow&) = default;
};
struct LinkRow {
    std::int64_t id = 0;
    std::string name, uri;
    std::int64_t vehicle = 0;
    friend bool operator==(const LinkRow&, const LinkRow&) = default;
};
struct SeriesColumnRow {
    std::int64_t series = 0, place = 0;
    std::string sql_name;
    Column column;
    ColumnCode code;
};
struct SharedColumnsRow {
    std::int64_t series = 0, columns_of = 0;
};
struct LateRow {
    std::int64_t series = 0, id = 0, t_ns = 0; ///< t_ns as stored
};
struct ChunkRow {
    ChunkRecord chunk;                ///< `bytes` is the range of the span below
    std::span<const std::byte> bytes; ///< read: valid until the next step
};
struct WordRow {
    std::string enumeration;
    std::int64_t value = 0;
    std::string word;
};
struct FrameRow {
    std::int64_t id = 0;
    FrameRecord frame;
};
struct EventRow {
    std::int64_t id = 0; ///< written: 0 has SQLite count
    Event event;
};

extern const FixedTable<MetaRow> kMetaTable; ///< a key that is there is overwritten
extern const FixedTable<VehicleRow> kVehicleTable;
extern const FixedTable<VehicleFileRow> kVehicleFileTable; ///< a file may lack it: see vehicle_files
extern const FixedTable<SiteRow> kSiteTable;
extern const FixedTable<LinkRow> kLinkTable;
extern const FixedTable<StoredTable> kSeriesTable;
extern const FixedTable<SeriesColumnRow>
    kSeriesColumnTable; ///< to read: a view of the next two, in early files a table
extern const FixedTable<SeriesColumnRow> kOwnColumnTable;
extern const FixedTable<SharedColumnsRow> kSharedColumnsTable;
extern const FixedTable<LateRow> kLateRowTable;
extern const FixedTable<ChunkRow> kChunkTable;
extern const FixedTable<ActionRecord> kActionTable;
extern const FixedTable<WordRow> kWordTable;
extern const FixedTable<FrameRow> kFrameTable;
extern const FixedTable<EventRow> kEventTable;

/// In the order of vehicles and names; none in a file that lacks the table.
[[nodiscard]] std::vector<VehicleFileRow> vehicle_files(Database& database);

} // namespace turnstone
