#include "server/serve/http/recording_routes.hpp"

#include <array>
#include <string_view>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/record/read/catalogue.hpp"
#include "server/serve/encode/description.hpp"
#include "server/serve/http/on_worker.hpp"
#include "server/serve/http/recording_reads.hpp"

namespace turnstone {
namespace {

using boost::asio::awaitable;
using nlohmann::json;

constexpr std::size_t kDownloadsMax = 2; // each is a copy of a whole recording on the disk that is being recorded to

using Read = Answer (*)(RecordingReader&, const Target&);
constexpr std::array<std::pair<std::string_view, Read>, 5> kReads{{{"description", read_description},
                                                                   {"series", read_series},
                                                                   {"latest", read_latest},
                                                                   {"events", read_events},
                                                                   {"frames", read_frames}}};

Read read_called(std::string_view name) {
    for (const auto& [known, read] : kReads)
        if (known == name) return read;
    return nullptr;
}

/// Opens the recording and has `read` answer.
WorkerTask task_for(RecordingPlace place, std::function<Answer(RecordingReader&)> read) {
    return [place = std::move(place), read = std::move(read)](ReaderCache& cache) {
        if (!std::filesystem::exists(place.path))
            return place.live ? error_answer(503, "the recording's file is not on the disk yet; try again in a moment")
                              : error_answer(404, "there is no such recording; /api/recordings lists them");
        const auto reader = cache.get(place.path);
        return reader ? read(**reader) : error_answer(503, reader.error().message);
    };
}

} // namespace

awaitable<Answer> RecordingRoutes::list(const Request& request) {
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    const std::string live = live_.tape() ? live_.tape()->id : std::string();
    const WorkerTask task = [live, folder = folder_](ReaderCache&) {
        json recordings = json::array();
        for (const RecordingInfo& info : scan_recordings(folder))
            recordings.push_back(recording_json(info, info.id == live));
        return json_answer(
            {{"recordings", std::move(recordings)}, {"live", live.empty() ? json(nullptr) : json(live)}});
    };
    co_return co_await on_worker(workers_, task);
}

awaitable<Answer> RecordingRoutes::read(const Request& request) {
    const std::string& what = request.target.segments[3];
    const auto place = live_.find(folder_, request.target.segments[2]);
    if (!place) co_return error_answer(404, place.error().message);
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (what == "download") co_return co_await download(request, *place);
    if (what == "description" && place->live) {
        // The file may not be there yet.
        if (const auto allowed = allow_parameters(request.target, {}); !allowed)
            co_return error_answer(400, allowed.error().message);
        const LiveTape& tape = *live_.tape();
        co_return json_answer(
            description_json(live_.info(recorder_().file_bytes), true, *tape.schema, describe(*tape.setup)));
    }
    const Read asked = read_called(what);
    if (asked == nullptr)
        co_return error_answer(404, "a recording has description, series, latest, events, frames, download and meta");
    const WorkerTask task =
        task_for(*place, [asked, target = request.target](RecordingReader& reader) { return asked(reader, target); });
    co_return co_await on_worker(workers_, task);
}

awaitable<Answer> RecordingRoutes::download(const Request& request, const RecordingPlace& place) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    if (downloads_ >= kDownloadsMax)
        co_return error_answer(503, "two downloads are being prepared already; try again in a moment");
    ++downloads_;
    const WorkerTask task =
        task_for(place, [folder = folder_](RecordingReader& reader) { return read_snapshot(reader, folder); });
    Answer answer = co_await on_worker(workers_, task);
    --downloads_;
    co_return answer;
}

} // namespace turnstone
