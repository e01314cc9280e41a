#include "server/exchange/import/other_station.hpp"

#include <algorithm>
#include <limits>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/exchange/import/input_writer.hpp"
#include "server/exchange/import/station_times.hpp"
#include "server/record/read/reader.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

using nlohmann::json;

/// Kept in memory while they are joined: a day and a half of a radio of 57,600 baud.
constexpr std::size_t kOtherBytesMost = 768U << 20U;

debrief::Advance portion(const debrief::Advance& advance, double from, double to) {
    return [&advance, from, to](double done) { return advance(from + std::clamp(done, 0.0, 1.0) * (to - from)); };
}

struct Opened {
    RecordingReader reader;
    RecordingInfo info;
    PipelineSetup setup;
};
Result<Opened> open_closed(const std::filesystem::path& path) {
    auto reader = RecordingReader::open(path);
    if (!reader) return tl::unexpected(reader.error());
    RecordingInfo info = reader->info();
    if (!info.closed) return fail(info.id + " is still being recorded; close it first");
    auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    return Opened{std::move(*reader), std::move(info), std::move(*setup)};
}

/// This station's setup with the other's links.
struct JoinedStations {
    PipelineSetup setup;
    std::vector<std::optional<LinkId>> link_of; ///< by the other's; empty: of a vehicle that is not here
    std::size_t vehicle = 0;                    ///< by whose packets the clocks are compared, here
    std::size_t vehicle_there = 0;
};
Result<JoinedStations> join_stations(PipelineSetup here, const PipelineSetup& there) {
    JoinedStations out{.setup = std::move(here), .link_of = {}};
    bool any = false;
    for (const LinkSetup& link : there.links) {
        const VehicleSetup& carried = there.vehicles.at(link.vehicle);
        const std::string& name = carried.dictionary.vehicle;
        const auto same = std::ranges::find_if(
            out.setup.vehicles, [&](const VehicleSetup& each) { return each.dictionary.vehicle == name; });
        out.link_of.emplace_back();
        if (same == out.setup.vehicles.end()) continue;
        if (same->dictionary_json != carried.dictionary_json)
            return fail("the two recordings describe the packets of " + name +
                        " differently; make the other one again with this one's folder first: turnstone reprocess");
        const auto vehicle = static_cast<std::size_t>(same - out.setup.vehicles.begin());
        if (!std::exchange(any, true)) {
            out.vehicle = vehicle;
            out.vehicle_there = link.vehicle;
        }
        std::string free_name = link.name;
        const auto is_taken = [&] { return std::ranges::count(out.setup.links, free_name, &LinkSetup::name) > 0; };
        for (int number = 2; is_taken(); ++number) free_name = link.name + "-" + std::to_string(number);
        out.link_of.back() = static_cast<LinkId>(out.setup.links.size());
        out.setup.links.push_back({free_name, link.uri, vehicle});
    }
    if (!any) return fail("no link of the other recording carries a vehicle of this one");
    return out;
}

/// What the other station received, at the times of this one's clock.
class OtherInputs {
  public:
    OtherInputs(const JoinedStations& joined, const StationTimes& times) : joined_(joined), times_(times) {}

    [[nodiscard]] Result<void> read(Opened& other, const debrief::Advance& advance) {
        const double inputs = std::max(static_cast<double>(other.info.inputs), 1.0);
        bool go_on = true, too_much = false;
        InputCounter counter(joined_.setup.links.size(), std::numeric_limits<std::int64_t>::min());
        other.reader.inputs(
            [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
                go_on = go_on && advance(static_cast<double>(chunk.input) / inputs);
                too_much = too_much || inputs_.bytes.size() + bytes.size() > kOtherBytesMost;
                const auto link = joined_.link_of.at(chunk.link);
                if (!go_on || too_much || !link) return;
                counter.chunk(*link, times_.station_ns(chunk.t_rx_ns), 0, bytes, inputs_);
            },
            [&](const ActionRecord& action) {
                const auto* report = std::get_if<LinkReport>(&action.action);
                if (report == nullptr || !go_on || too_much) return;
                for (std::size_t k = 0; k < other.setup.links.size(); ++k) {
                    if (other.setup.links[k].name != report->link || !joined_.link_of[k]) continue;
                    LinkReport renamed = *report;
                    renamed.link = joined_.setup.links[*joined_.link_of[k]].name;
                    counter.action(times_.station_ns(action.t_ns), renamed, inputs_);
                }
            });
        if (!go_on) return debrief::stopped();
        if (too_much)
            return fail(other.info.id + " holds more than " + std::to_string(kOtherBytesMost >> 20U) +
                        " MiB; begin new recordings more often");
        if (inputs_.chunks.empty()) return fail(other.info.id + " holds no bytes of a vehicle of this recording");
        return whole(other.reader);
    }
    [[nodiscard]] std::int64_t first_ns() const noexcept {
        std::int64_t first = inputs_.chunks.front().t_rx_ns;
        return inputs_.actions.empty() ? first : std::min(first, inputs_.actions.front().t_ns);
    }
    [[nodiscard]] std::int64_t last_ns() const noexcept { return inputs_.chunks.back().t_rx_ns; }

    /// Hands on those up to then.
    void give(std::int64_t t_ns, std::int64_t utc_offset_ns, bool carried, InputWriter& writer) {
        for (;;) {
            const bool any_chunk = chunk_ < inputs_.chunks.size(), any_action = action_ < inputs_.actions.size();
            const bool action_first =
                any_action && (!any_chunk || inputs_.actions[action_].input < inputs_.chunks[chunk_].input);
            if (action_first) {
                const ActionRecord& action = inputs_.actions[action_];
                if (action.t_ns > t_ns) return;
                writer.action(action.t_ns, action.action);
                ++action_;
            } else {
                if (!any_chunk || inputs_.chunks[chunk_].t_rx_ns > t_ns) return;
                const ChunkRecord& chunk = inputs_.chunks[chunk_];
                writer.chunk(chunk.link, chunk.t_rx_ns, chunk.t_rx_ns + utc_offset_ns, inputs_.bytes_of(chunk),
                             carried);
                ++chunk_;
            }
        }
    }

  private:
    const JoinedStations& joined_;
    const StationTimes& times_;
    Inputs inputs_;
    std::size_t chunk_ = 0, action_ = 0; ///< next
};

Result<void> write_both(Opened& here, OtherInputs& other, InputWriter& writer, const debrief::Advance& advance) {
    const double inputs = std::max(static_cast<double>(here.info.inputs), 1.0);
    std::int64_t utc_offset_ns = here.info.utc_start_ns - here.info.t_start_ns;
    bool go_on = true, carried = false;
    here.reader.inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            go_on = go_on && advance(static_cast<double>(chunk.input) / inputs);
            if (!go_on) return;
            other.give(chunk.t_rx_ns, utc_offset_ns, carried, writer);
            carried = chunk.carried;
            utc_offset_ns = chunk.utc_rx_ns - chunk.t_rx_ns;
            writer.chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, chunk.carried);
        },
        [&](const ActionRecord& action) {
            if (!go_on) return;
            other.give(action.t_ns, utc_offset_ns, carried, writer);
            writer.action(action.t_ns, action.action);
        });
    if (!go_on) return debrief::stopped();
    other.give(std::numeric_limits<std::int64_t>::max(), utc_offset_ns, false, writer);
    const std::int64_t t_end_ns = std::max(here.info.t_end_ns, other.last_ns());
    writer.advance((t_end_ns / kNsPerS + 1) * kNsPerS); // links say what they brought at whole seconds
    return whole(here.reader);
}

/// What each link brought, by the newest row of its table.
json links_json(RecordingReader& made, const PipelineSetup& setup) {
    json out = json::array();
    const auto latest = made.latest(made.info().t_end_ns);
    for (const LinkSetup& link : setup.links) {
        json one = {{"name", link.name}};
        for (const Table& table : made.schema().tables) {
            if (table.name != "link/" + link.name || !latest.at(table.id)) continue;
            const std::vector<double>& row = latest[table.id]->second;
            for (std::size_t c = 0; c < row.size(); ++c)
                for (const char* name : {"received", "frames_bad", "first_here", "only_here", "combined_from"})
                    if (table.columns[c].name == name) one[name] = row[c];
        }
        out.push_back(std::move(one));
    }
    return out;
}

} // namespace

Result<json> import_station(const OtherStationRequest& request, const debrief::Advance& advance) {
    auto here = open_closed(request.recording);
    if (!here) return tl::unexpected(here.error());
    auto there = open_closed(request.other);
    if (!there) return tl::unexpected(there.error());
    if (here->info.id == there->info.id) return fail(here->info.id + " cannot be joined with itself");
    const auto joined = join_stations(std::move(here->setup), there->setup);
    if (!joined) return tl::unexpected(joined.error());
    const auto heard = read_radio(here->reader, joined->setup, joined->vehicle, portion(advance, 0, 0.15));
    if (!heard) return tl::unexpected(heard.error());
    const auto heard_there =
        read_radio(there->reader, there->setup, joined->vehicle_there, portion(advance, 0.15, 0.3));
    if (!heard_there) return tl::unexpected(heard_there.error());
    const std::int64_t utc_offset_ns =
        (there->info.t_start_ns - there->info.utc_start_ns) - (here->info.t_start_ns - here->info.utc_start_ns);
    const StationTimes times = times_by_packets(*heard, *heard_there, utc_offset_ns);
    OtherInputs other(*joined, times);
    if (auto read = other.read(*there, portion(advance, 0.3, 0.4)); !read) return tl::unexpected(read.error());
    const std::int64_t t_start_ns = std::min(here->info.t_start_ns, other.first_ns());
    const json alignment = {{"method", word(times.by)},
                            {"offset_s", seconds_between(times.here_ns, times.there_ns)},
                            {"sigma_s", times.sigma_s},
                            {"drift_ppm", times.drift_ppm},
                            {"packets", times.packets}};
    const auto path =
        make_recording({.setup = joined->setup,
                        .folder = request.folder,
                        .working_name = here->info.id + "-joined",
                        .t_start_ns = t_start_ns,
                        .utc_start_ns = here->info.utc_start_ns - (here->info.t_start_ns - t_start_ns),
                        .name = here->info.name.empty() ? "Two stations" : here->info.name + ", two stations",
                        .notes = here->info.notes,
                        .facts = {{"merged_from", here->info.id},
                                  {"merged_station", there->info.id},
                                  {"station_alignment", alignment.dump()}}},
                       [&](InputWriter& writer) { return write_both(*here, other, writer, portion(advance, 0.4, 1)); });
    if (!path) return tl::unexpected(path.error());
    auto made = RecordingReader::open(*path);
    if (!made) return tl::unexpected(made.error());
    return json{{"recording", path->stem().string()},
                {"file", path->filename().string()},
                {"alignment", alignment},
                {"links", links_json(*made, joined->setup)}};
}

} // namespace turnstone::exchange
