#include "server/serve/http/recordings/recording_reads.hpp"

#include <algorithm>
#include <limits>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/analysis/shock/shock_spectrum.hpp"
#include "server/report/ground/charge.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/encode/description.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/encode/tape_time.hpp"
#include "server/serve/parse/flat_object.hpp"

namespace turnstone {
namespace {

constexpr std::int64_t kPointsDefault = 1000;
constexpr std::int64_t kFramesDefault = 100;
constexpr std::int64_t kEventsMax = 1000;
constexpr std::size_t kSeriesBytesMax = 16u << 20; // wide tables get fewer points

struct TapeWindow {
    std::int64_t from_ns;
    std::int64_t to_ns; ///< exclusive
};

/// from_s and to_s; where one is missing, the tape's own end.
Result<TapeWindow> window(const Target& target, const RecordingInfo& info) {
    const auto from_s = number_parameter(target, "from_s", -kTapeSecondsMax, kTapeSecondsMax);
    if (!from_s) return tl::unexpected<Error>(from_s.error());
    const auto to_s = number_parameter(target, "to_s", -kTapeSecondsMax, kTapeSecondsMax);
    if (!to_s) return tl::unexpected<Error>(to_s.error());
    const TapeWindow out{*from_s ? tape_ns(**from_s, info.t_start_ns) : info.t_start_ns,
                         *to_s ? tape_ns(**to_s, info.t_start_ns) : info.t_end_ns + 1};
    if (*from_s && *to_s && out.to_ns <= out.from_ns) return fail("'to_s' must be greater than 'from_s'");
    return out;
}

Result<std::vector<std::size_t>> columns_of(const Table& table, const std::string& names) {
    std::vector<std::size_t> out;
    std::string_view rest = names;
    while (!rest.empty()) {
        const std::size_t comma = std::min(rest.find(','), rest.size());
        const std::string_view name = rest.substr(0, comma);
        rest.remove_prefix(std::min(comma + 1, rest.size()));
        const auto end = table.columns.begin() + static_cast<std::ptrdiff_t>(table.number_count);
        const auto found =
            std::find_if(table.columns.begin(), end, [&](const Column& column) { return column.name == name; });
        if (found == end)
            return fail(
                fmt::format("table {} ('{}') has no numeric column of that name; 'description' lists its columns",
                            table.id, table.name));
        out.push_back(static_cast<std::size_t>(found - table.columns.begin()));
        if (out.size() > table.number_count) return fail("a column is named more than once in 'columns'");
    }
    return out;
}

/// What could be read and, if the file turned out to be damaged, why the rest could not.
Answer as_far_as_read(nlohmann::json members, const RecordingReader& reader) {
    if (!reader.damage().empty()) members["damage"] = reader.damage();
    return json_answer(members);
}

} // namespace

Answer read_description(RecordingReader& reader, const Target& target) {
    if (const auto allowed = allow_parameters(target, {}); !allowed) return error_answer(400, allowed.error().message);
    return json_answer(stored_description(reader, false));
}

Answer read_series(RecordingReader& reader, const Target& target) {
    if (const auto allowed = allow_parameters(target, {"table", "columns", "from_s", "to_s", "points"}); !allowed)
        return error_answer(400, allowed.error().message);
    const Schema& schema = reader.schema();
    if (schema.tables.empty()) return error_answer(404, "this recording has no tables");
    const auto table = integer_parameter(target, "table", 0, static_cast<std::int64_t>(schema.tables.size()) - 1);
    if (!table) return error_answer(400, table.error().message);
    if (!*table)
        return error_answer(400, "parameter 'table' is missing; 'description' lists the tables with their numbers");
    const auto points = integer_parameter(target, "points", 16, 8192);
    if (!points) return error_answer(400, points.error().message);
    const Table& of = schema.tables[static_cast<std::size_t>(**table)];
    Result<std::vector<std::size_t>> columns;
    if (const auto names = text_parameter(target, "columns")) {
        columns = columns_of(of, *names);
        if (!columns) return error_answer(400, columns.error().message);
    } else {
        columns->resize(of.number_count);
        for (std::size_t i = 0; i < columns->size(); ++i) (*columns)[i] = i;
    }
    const RecordingInfo info = reader.info();
    const auto span = window(target, info);
    if (!span) return error_answer(400, span.error().message);

    const std::size_t column_count = columns->size();
    const std::size_t points_max = std::max<std::size_t>(kSeriesBytesMax / (8 * (1 + 3 * column_count)), 1);
    const auto wanted = static_cast<std::size_t>(points->value_or(kPointsDefault));
    const auto block =
        reader.series({of.id, std::move(*columns), span->from_ns, span->to_ns, std::min(wanted, points_max)});
    if (!block) return error_answer(503, block.error().message);
    Answer answer;
    answer.content_type = "application/vnd.turnstone.series";
    answer.body = encode_series(*block, of.id, column_count, info.t_start_ns);
    return answer;
}

Answer read_latest(RecordingReader& reader, const Target& target) {
    if (const auto allowed = allow_parameters(target, {"t_s"}); !allowed)
        return error_answer(400, allowed.error().message);
    const auto t_s = number_parameter(target, "t_s", -kTapeSecondsMax, kTapeSecondsMax);
    if (!t_s) return error_answer(400, t_s.error().message);
    const RecordingInfo info = reader.info();
    const std::int64_t t_ns = *t_s ? tape_ns(**t_s, info.t_start_ns) : info.t_end_ns;
    nlohmann::json latest = latest_json(reader.latest(t_ns), info.t_start_ns);
    return as_far_as_read({{"latest", std::move(latest)}}, reader);
}

Answer read_events(RecordingReader& reader, const Target& target) {
    if (const auto allowed = allow_parameters(target, {"from_s", "to_s", "after", "limit"}); !allowed)
        return error_answer(400, allowed.error().message);
    const auto after = integer_parameter(target, "after", 0, std::numeric_limits<std::int64_t>::max());
    if (!after) return error_answer(400, after.error().message);
    const auto limit = integer_parameter(target, "limit", 1, kEventsMax);
    if (!limit) return error_answer(400, limit.error().message);
    const RecordingInfo info = reader.info();
    auto span = window(target, info);
    if (!span) return error_answer(400, span.error().message);
    // Events may lie before the first row or after the last: no window means all of them.
    if (!text_parameter(target, "from_s")) span->from_ns = std::numeric_limits<std::int64_t>::min();
    if (!text_parameter(target, "to_s")) span->to_ns = std::numeric_limits<std::int64_t>::max();
    const EventPage page = reader.event_page(span->from_ns, span->to_ns, after->value_or(0),
                                             static_cast<std::size_t>(limit->value_or(kEventsMax)));
    nlohmann::json events = nlohmann::json::array();
    for (const Event& event : page.events) events.push_back(event_json(event, info.t_start_ns));
    return as_far_as_read(
        {{"events", std::move(events)}, {"next", page.more ? nlohmann::json(page.last_id) : nlohmann::json(nullptr)}},
        reader);
}

Answer read_shocks(RecordingReader& reader, const Target& target) {
    if (const auto allowed = allow_parameters(target, {}); !allowed) return error_answer(400, allowed.error().message);
    const Recorded recorded(reader);
    nlohmann::json shocks = nlohmann::json::array();
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle)
        for (const report::Firing& firing : report::firings_in(recorded, vehicle, recorded.whole())) {
            const auto curve = report::shock_of(recorded, firing).value_or(report::SpectrumCurve{});
            shocks.push_back({{"vehicle", vehicle},
                              {"charge", firing.charge},
                              {"t_s", tape_seconds(firing.row.t_ns(), recorded.info().t_start_ns)},
                              {"natural_hz", curve.frequency_hz},
                              {"peak_mps2", curve.value}});
        }
    return as_far_as_read({{"q", analysis::kShockQ}, {"shocks", std::move(shocks)}}, reader);
}

Answer read_frames(RecordingReader& reader, const Target& target) {
    if (const auto allowed = allow_parameters(target, {"after", "limit", "link", "newest"}); !allowed)
        return error_answer(400, allowed.error().message);
    const auto after =
        integer_parameter(target, "after", 0, std::numeric_limits<std::int64_t>::max()); // ids start at 1
    if (!after) return error_answer(400, after.error().message);
    const auto limit = integer_parameter(target, "limit", 1, 500);
    if (!limit) return error_answer(400, limit.error().message);
    const std::vector<LinkSetup> links = reader.description().links;
    std::optional<LinkId> link;
    if (const auto name = text_parameter(target, "link")) {
        const auto found = std::ranges::find(links, *name, &LinkSetup::name);
        if (found == links.end())
            return error_answer(400, "parameter 'link' is not a link of this recording; 'description' lists them");
        link = static_cast<LinkId>(found - links.begin());
    }
    const RecordingInfo info = reader.info();
    FramePage page;
    if (const auto newest = text_parameter(target, "newest")) {
        if (!link || *after || *limit || (*newest != "good" && *newest != "bad"))
            return error_answer(400, "parameter 'newest' is good or bad, with a link and without 'after' and 'limit'");
        if (const auto id = reader.newest_frame(*link, *newest == "good")) page = reader.frames(*id - 1, 1, link);
    } else {
        page = reader.frames(after->value_or(0), static_cast<std::size_t>(limit->value_or(kFramesDefault)), link);
    }
    return as_far_as_read(frames_json(page, links, info.t_start_ns), reader);
}

} // namespace turnstone
