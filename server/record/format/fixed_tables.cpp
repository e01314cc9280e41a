#include "server/record/format/fixed_tables.hpp"

#include <cstdlib>
#include <optional>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/pipeline/events.hpp"

namespace turnstone {

namespace {

/// An identification that SQLite counts.
struct Counted {
    static void bind(Statement& insert, int place, std::int64_t id) {
        if (id == 0)
            insert.bind_null(place);
        else
            insert.bind(place, id);
    }
    static void read(const Statement& select, int place, std::int64_t& id) { id = select.integer(place); }
};

/// The word, NULL for none. One that is not this version's reads as none.
struct AsWordIfAny {
    static void bind(Statement& insert, int place, const std::optional<EventId>& id) {
        if (id)
            insert.bind(place, word(*id));
        else
            insert.bind_null(place);
    }
    static void read(const Statement& select, int place, std::optional<EventId>& id) {
        id = from_word<EventId>(select.text(place));
    }
};

struct AsJson {
    static void bind(Statement& insert, int place, const Action& action) { insert.bind_copy(place, to_json(action)); }
    static void read(const Statement& select, int place, Action& action) {
        action = action_from_json(select.text(place));
    }
    static void bind(Statement& insert, int place, const EventValues& values) {
        insert.bind_copy(place, to_json(values));
    }
    static void read(const Statement& select, int place, EventValues& values) {
        values = event_values_from_json(select.text(place));
    }
    static void bind(Statement& insert, int place, const Enumeration& enumeration) {
        nlohmann::json json = nlohmann::json::object();
        for (const auto& [value, word] : enumeration) json[std::to_string(value)] = word;
        insert.bind_copy(place, json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace));
    }
    static void read(const Statement& select, int place, Enumeration& enumeration) {
        enumeration.clear();
        const auto json = nlohmann::json::parse(select.text(place), nullptr, false);
        if (!json.is_object()) return;
        for (const auto& [value, word] : json.items())
            if (word.is_string()) enumeration[std::strtoll(value.c_str(), nullptr, 10)] = word.get<std::string>();
    }
    static void bind(Statement& insert, int place, const std::vector<ColumnLimit>& limits) {
        nlohmann::json json = nlohmann::json::array();
        for (const ColumnLimit& limit : limits)
            json.push_back({limit.is_low ? "low" : "high", word(limit.level), limit.value});
        insert.bind_copy(place, json.dump());
    }
    static void read(const Statement& select, int place, std::vector<ColumnLimit>& limits) {
        limits.clear();
        const auto json = nlohmann::json::parse(select.text(place), nullptr, false);
        if (!json.is_array()) return;
        for (const auto& one : json)
            if (one.is_array() && one.size() == 3 && one[0].is_string() && one[1].is_string() && one[2].is_number())
                limits.push_back({.is_low = one[0] == "low",
                                  .level = from_word<Level>(one[1].get<std::string>()).value_or(Level::note),
                                  .value = one[2].get<double>()});
    }
};

/// One end of a range; a range without both is none.
using Range = std::optional<std::pair<double, double>>;
template <auto end>
struct RangeEnd {
    static void bind(Statement& insert, int place, const Range& range) {
        if (range)
            insert.bind(place, (*range).*end);
        else
            insert.bind_null(place);
    }
};
struct RangeMin : RangeEnd<&std::pair<double, double>::first> {
    static void read(const Statement& select, int place, Range& range) {
        range.reset();
        if (!select.is_null(place)) range.emplace(select.number(place), 0.0);
    }
};
struct RangeMax : RangeEnd<&std::pair<double, double>::second> { // read after the minimum
    static void read(const Statement& select, int place, Range& range) {
        if (select.is_null(place))
            range.reset();
        else if (range)
            range->second = select.number(place);
    }
};

/// The system's UTC of a chunk, as its distance from station time.
constexpr StoredColumn<ChunkRow> kUtcOffset{
    "utc_offset_ns",
    [](Statement& insert, int place, const ChunkRow& row, std::int64_t) {
        insert.bind(place, row.chunk.utc_rx_ns - row.chunk.t_rx_ns);
    },
    [](const Statement& select, int place, ChunkRow& row, std::int64_t) { // read after t_rx_ns
        row.chunk.utc_rx_ns = station_time_ns(select.integer(place), row.chunk.t_rx_ns);
    },
    2};
constexpr StoredColumn<ChunkRow> until_layout(std::int64_t layout, StoredColumn<ChunkRow> column) {
    column.until_layout = layout;
    return column;
}

constexpr StoredColumn<MetaRow> kMeta[] = {column<AsIs, &MetaRow::key>("key"), column<AsIs, &MetaRow::value>("value")};

constexpr StoredColumn<VehicleRow> kVehicle[] = {column<AsIs, &VehicleRow::id>("id"),
                                                 column<AsIs, &VehicleRow::name>("name"),
                                                 column<AsIs, &VehicleRow::dictionary_json>("dictionary_json"),
                                                 column<AsIs, &VehicleRow::vehicle_json>("vehicle_json")};

constexpr StoredColumn<VehicleFileRow> kVehicleFile[] = {column<AsIs, &VehicleFileRow::vehicle>("vehicle", 2),
                                                         column<AsIs, &VehicleFileRow::name>("name", 2),
                                                         column<AsIs, &VehicleFileRow::text>("text", 2)};

constexpr StoredColumn<SiteRow> kSite[] = {column<AsIs, &SiteRow::site_json>("site_json")};

constexpr StoredColumn<LinkRow> kLink[] = {column<AsIs, &LinkRow::id>("id"), column<AsIs, &LinkRow::name>("name"),
                                           column<AsIs, &LinkRow::uri>("uri"),
                                           column<AsIs, &LinkRow::vehicle>("vehicle")};

constexpr StoredColumn<StoredTable> kSeries[] = {
    column<AsIs, &StoredTable::table, &Table::id>("id"),
    column<AsIs, &StoredTable::table, &Table::name>("name"),
    column<AsIs, &StoredTable::sql_name>("sql_name"),
    column<AsIs, &StoredTable::table, &Table::title>("title"),
    column<AsWord<TableKind::packet>, &StoredTable::table, &Table::kind>("kind"),
    column<NullIfNegative, &StoredTable::table, &Table::vehicle>("vehicle"),
    column<AsIs, &StoredTable::table, &Table::period_s>("period_s"),
    column<AsIs, &StoredTable::rollup, &RollupShape::shift>("rollup_shift"),
    column<AsIs, &StoredTable::rollup, &RollupShape::levels>("rollup_levels"),
    column<AsIs, &StoredTable::slack_ns>("slack_ns", 2),
};

/// Where it is the column's name it is not written again; the view fills it in.
constexpr StoredColumn<SeriesColumnRow> kColumnSqlName{
    "sql_name",
    [](Statement& insert, int place, const SeriesColumnRow& row, std::int64_t) {
        if (row.sql_name == row.column.name)
            insert.bind_null(place);
        else
            AsIs::bind(insert, place, row.sql_name);
    },
    [](const Statement& select, int place, SeriesColumnRow& row, std::int64_t) { row.sql_name = select.text(place); }};

constexpr StoredColumn<SeriesColumnRow> kSeriesColumn[] = {
    column<AsIs, &SeriesColumnRow::series>("series"),
    column<AsIs, &SeriesColumnRow::place>("place"),
    column<AsIs, &SeriesColumnRow::column, &Column::name>("name"),
    kColumnSqlName,
    column<AsIs, &SeriesColumnRow::column, &Column::title>("title", 2),
    column<AsIs, &SeriesColumnRow::column, &Column::is_text>("is_text"),
    column<AsIs, &SeriesColumnRow::column, &Column::unit>("unit"),
    column<AsIs, &SeriesColumnRow::column, &Column::description>("description"),
    column<AsIs, &SeriesColumnRow::column, &Column::group>("display_group"),
    column<AsIs, &SeriesColumnRow::column, &Column::decimals>("decimals"),
    column<RangeMin, &SeriesColumnRow::column, &Column::valid_range>("valid_min"),
    column<RangeMax, &SeriesColumnRow::column, &Column::valid_range>("valid_max"),
    column<AsJson, &SeriesColumnRow::column, &Column::enumeration>("enumeration"),
    column<AsJson, &SeriesColumnRow::column, &Column::limits>("limits", 2),
    column<NullIfEmpty, &SeriesColumnRow::column, &Column::role>("role"),
    column<AsIs, &SeriesColumnRow::column, &Column::sigma_column>("sigma_column"),
    column<AsIs, &SeriesColumnRow::column, &Column::low_column>("low_column", 2),
    column<AsIs, &SeriesColumnRow::column, &Column::high_column>("high_column", 2),
    column<AsIs, &SeriesColumnRow::column, &Column::strip_title>("strip_title", 2),
    column<AsIs, &SeriesColumnRow::column, &Column::strip_line>("strip_line", 2),
    column<AsIs, &SeriesColumnRow::code, &ColumnCode::zero>("zero", 2),
    column<AsIs, &SeriesColumnRow::code, &ColumnCode::step>("step", 2),
    column<AsIs, &SeriesColumnRow::code, &ColumnCode::rounded>("rounded", 2),
};

constexpr StoredColumn<SharedColumnsRow> kSharedColumns[] = {
    column<AsIs, &SharedColumnsRow::series>("series", 2), column<AsIs, &SharedColumnsRow::columns_of>("columns_of", 2)};

constexpr StoredColumn<LateRow> kLateRow[] = {column<AsIs, &LateRow::series>("series", 2),
                                              column<AsIs, &LateRow::id>("id", 2),
                                              column<AsIs, &LateRow::t_ns>("t_ns", 2)};

constexpr StoredColumn<ChunkRow> kChunk[] = {
    column<AsIs, &ChunkRow::chunk, &ChunkRecord::input>("input"),
    column<AsIs, &ChunkRow::chunk, &ChunkRecord::link>("link"),
    column<SinceStart, &ChunkRow::chunk, &ChunkRecord::t_rx_ns>("t_rx_ns"),
    until_layout(1, column<AsIs, &ChunkRow::chunk, &ChunkRecord::utc_rx_ns>("utc_rx_ns")),
    kUtcOffset,
    column<AsIs, &ChunkRow::chunk, &ChunkRecord::stream_offset>("stream_offset"),
    column<AsIs, &ChunkRow::chunk, &ChunkRecord::carried>("carried"),
    {"bytes", [](Statement& insert, int place, const ChunkRow& row, std::int64_t) { insert.bind(place, row.bytes); },
     [](const Statement& select, int place, ChunkRow& row, std::int64_t) {
         row.bytes = select.blob(place);
         row.chunk.bytes = {0, static_cast<std::uint32_t>(row.bytes.size())};
     }},
};

constexpr StoredColumn<ActionRecord> kAction[] = {column<AsIs, &ActionRecord::input>("input"),
                                                  column<SinceStart, &ActionRecord::t_ns>("t_ns"),
                                                  column<AsJson, &ActionRecord::action>("json")};

constexpr StoredColumn<WordRow> kWord[] = {column<AsIs, &WordRow::enumeration>("enumeration"),
                                           column<AsIs, &WordRow::value>("value"),
                                           column<AsIs, &WordRow::word>("word")};

constexpr StoredColumn<FrameRow> kFrame[] = {
    column<AsIs, &FrameRow::id>("id"),
    column<AsIs, &FrameRow::frame, &FrameRecord::link>("link"),
    column<SinceStart, &FrameRow::frame, &FrameRecord::t_rx_ns>("t_rx_ns"),
    column<AsIs, &FrameRow::frame, &FrameRecord::stream_offset>("stream_offset"),
    column<AsIs, &FrameRow::frame, &FrameRecord::link_bytes>("link_octets"),
    column<AsNumber, &FrameRow::frame, &FrameRecord::frame_verdict>("frame_verdict"),
    column<AsNumber, &FrameRow::frame, &FrameRecord::decode_verdict>("decode_verdict"),
    column<AsNumber, &FrameRow::frame, &FrameRecord::packet_verdict>("packet_verdict"),
    column<NullIfNegative, &FrameRow::frame, &FrameRecord::apid>("apid"),
    column<NullIfNegative, &FrameRow::frame, &FrameRecord::sequence_count>("sequence_count"),
    column<NullIfNegative, &FrameRow::frame, &FrameRecord::onboard_ns>("onboard_ns"),
    column<AsIs, &FrameRow::frame, &FrameRecord::boot>("boot"),
};

constexpr StoredColumn<EventRow> kEvent[] = {
    column<Counted, &EventRow::id>("id"),
    column<AsWordIfAny, &EventRow::event, &Event::id>("event", 2),
    column<SinceStart, &EventRow::event, &Event::t_ns>("t_ns"),
    column<SinceStart, &EventRow::event, &Event::t_found_ns>("t_found_ns"),
    column<AsIs, &EventRow::event, &Event::t_sigma_s>("t_sigma_s"),
    column<AsWord<EventKind::note>, &EventRow::event, &Event::kind>("kind"),
    column<AsWord<Level::note>, &EventRow::event, &Event::level>("level"),
    column<NullIfNegative, &EventRow::event, &Event::vehicle>("vehicle"),
    column<AsIs, &EventRow::event, &Event::key>("key"),
    column<AsIs, &EventRow::event, &Event::text>("text"),
    column<AsIs, &EventRow::event, &Event::advice>("advice", 2),
    column<AsJson, &EventRow::event, &Event::values>("data_json"),
};

} // namespace

std::int64_t time_base_ns(Database& database) {
    return database.integer("PRAGMA user_version") < 2 ? 0
                                                       : station_time_ns(database.integer("SELECT t_ns FROM start"), 0);
}

constinit const FixedTable<MetaRow> kMetaTable{"meta", kMeta, "INSERT OR REPLACE"};
constinit const FixedTable<VehicleRow> kVehicleTable{"vehicle", kVehicle};
constinit const FixedTable<VehicleFileRow> kVehicleFileTable{"vehicle_file", kVehicleFile};
constinit const FixedTable<SiteRow> kSiteTable{"site", kSite};
constinit const FixedTable<LinkRow> kLinkTable{"link", kLink};
constinit const FixedTable<StoredTable> kSeriesTable{"series", kSeries};
constinit const FixedTable<SeriesColumnRow> kSeriesColumnTable{"series_column", kSeriesColumn};
constinit const FixedTable<SeriesColumnRow> kOwnColumnTable{"own_column", kSeriesColumn};
constinit const FixedTable<SharedColumnsRow> kSharedColumnsTable{"shared_columns", kSharedColumns};
constinit const FixedTable<LateRow> kLateRowTable{"late_row", kLateRow, "INSERT OR IGNORE"};
constinit const FixedTable<ChunkRow> kChunkTable{"chunk", kChunk};
constinit const FixedTable<ActionRecord> kActionTable{"action", kAction};
constinit const FixedTable<WordRow> kWordTable{"word", kWord};
constinit const FixedTable<FrameRow> kFrameTable{"frame", kFrame};
constinit const FixedTable<EventRow> kEventTable{"event", kEvent};

std::vector<VehicleFileRow> vehicle_files(Database& database) {
    std::vector<VehicleFileRow> out;
    if (!has_table(database, std::string(kVehicleFileTable.name))) return out;
    RowSelect<VehicleFileRow> rows(database, kVehicleFileTable, "ORDER BY vehicle, name");
    while (rows.step()) out.push_back(rows.row());
    return out;
}

} // namespace turnstone
