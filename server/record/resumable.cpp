#include "server/record/resumable.hpp"

#include <algorithm>
#include <cstdlib>
#include <utility>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/repair.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr std::int64_t kAgeMax_ns = 600 * kNsPerS;

template <class Row>
bool stored_equal(Database& database, const FixedTable<Row>& table, const std::string& order,
                  const std::vector<Row>& rows) {
    RowSelect<Row> stored(database, table, order);
    for (const Row& row : rows)
        if (!stored.step() || !(stored.row() == row)) return false;
    return !stored.step();
}

bool has_setup(Database& database, const PipelineSetup& setup) {
    const SetupTexts texts = texts_of(setup);
    return stored_equal(database, kVehicleTable, "ORDER BY id", texts.vehicles) &&
           vehicle_files(database) == texts.files && stored_equal(database, kSiteTable, "", std::vector{texts.site}) &&
           stored_equal(database, kLinkTable, "ORDER BY id", texts.links);
}

/// Received from a link: where its last chunk ends.
std::uint64_t stream_bytes(Database& database, std::size_t link) {
    RowSelect<ChunkRow> last(database, kChunkTable, "WHERE link = ? ORDER BY input DESC LIMIT 1");
    last.bind(1, static_cast<std::int64_t>(link));
    if (!last.step()) return 0;
    const ChunkRow row = last.row();
    return row.chunk.stream_offset + row.bytes.size();
}

std::int64_t last_time_ns(Database& database, std::int64_t t_start_ns) {
    std::int64_t t_ns = t_start_ns;
    RowSelect<ChunkRow> chunk(database, kChunkTable, "ORDER BY input DESC LIMIT 1");
    if (chunk.step()) t_ns = std::max(t_ns, chunk.row().chunk.t_rx_ns);
    RowSelect<ActionRecord> action(database, kActionTable, "ORDER BY input DESC LIMIT 1");
    if (action.step()) t_ns = std::max(t_ns, action.row().t_ns);
    return t_ns;
}

/// Empty when it cannot go on.
std::optional<Resumable> resumable(const std::filesystem::path& path, const PipelineSetup& setup,
                                   std::int64_t utc_now_ns) {
    try {
        auto claim = RecordingClaim::take(path);
        if (!claim) return std::nullopt;
        auto reader = RecordingReader::open(path);
        if (!reader) return std::nullopt;
        const RecordingInfo info = reader->info();
        if (info.closed || info.layout != kLayoutVersion || info.version != TURNSTONE_VERSION || info.inputs == 0 ||
            info.rows_dropped > 0 || !info.damage.empty())
            return std::nullopt;
        Database database(path, Database::Mode::read_only);
        if (!has_setup(database, setup)) return std::nullopt;
        const std::int64_t t_last_ns = last_time_ns(database, info.t_start_ns);
        if (std::abs(utc_now_ns - (info.utc_start_ns + (t_last_ns - info.t_start_ns))) > kAgeMax_ns)
            return std::nullopt;
        Resumable out{.id = info.id,
                      .head = {.t_start_ns = info.t_start_ns,
                               .utc_start_ns = info.utc_start_ns,
                               .name = info.name,
                               .continues = ""},
                      .inputs = info.inputs,
                      .t_last_ns = t_last_ns,
                      .stream_bytes = {},
                      .claim = std::make_shared<RecordingClaim>(std::move(*claim))};
        for (std::size_t link = 0; link < setup.links.size(); ++link)
            out.stream_bytes.push_back(stream_bytes(database, link));
        return out;
    } catch (const SqliteError&) {
        return std::nullopt; // a new recording begins, and this one is looked after in the background
    }
}

} // namespace

std::optional<Resumable> find_resumable(const std::filesystem::path& directory, const PipelineSetup& setup,
                                        std::int64_t utc_now_ns) {
    constexpr std::size_t kLookedAtMax = 20; // ids begin with the time: what is older has other ones after it
    const auto files = recording_files(directory);
    for (std::size_t k = 0; k < std::min(files.size(), kLookedAtMax); ++k)
        if (auto found = resumable(files[files.size() - 1 - k], setup, utc_now_ns)) return found;
    return std::nullopt;
}

} // namespace turnstone
