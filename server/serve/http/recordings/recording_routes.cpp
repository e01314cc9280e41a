#include "server/serve/http/recordings/recording_routes.hpp"

#include <array>
#include <optional>
#include <string_view>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/report/report.hpp"
#include "server/serve/encode/description.hpp"
#include "server/serve/http/on_worker.hpp"
#include "server/serve/http/recordings/recording_reads.hpp"

namespace turnstone {
namespace {

using boost::asio::awaitable;
using nlohmann::json;

constexpr std::int64_t kListMax = 500;
constexpr std::int64_t kListDefault = 200;

using Read = Answer (*)(RecordingReader&, const Target&);
constexpr std::array<std::pair<std::string_view, Read>, 6> kReads{{{"description", read_description},
                                                                   {"series", read_series},
                                                                   {"latest", read_latest},
                                                                   {"events", read_events},
                                                                   {"shocks", read_shocks},
                                                                   {"frames", read_frames}}};

Read read_called(std::string_view name) {
    for (const auto& [known, read] : kReads)
        if (known == name) return read;
    return nullptr;
}

/// The path of a recording's file, or why there is none.
tl::expected<std::filesystem::path, Answer> file_of(const std::filesystem::path& folder, const RecordingPlace& place) {
    auto path = path_of(folder, place);
    if (path) return std::move(*path);
    return tl::unexpected(place.live ? busy_answer(path.error().message) : error_answer(404, path.error().message));
}

/// Opens the recording and has `read` answer.
WorkerTask task_for(const std::filesystem::path& folder, RecordingPlace place,
                    std::function<Answer(RecordingReader&)> read) {
    return [&folder, place = std::move(place), read = std::move(read)](ReaderCache& cache) {
        const auto path = file_of(folder, place);
        if (!path) return path.error();
        const auto reader = cache.get(*path);
        return reader ? read(**reader) : error_answer(503, reader.error().message);
    };
}

/// A page of the list. What is being recorded is described by the server, whose file changes all the time.
Answer list_page(RecordingList& recordings, const Target& target, const std::optional<RecordingInfo>& live) {
    const auto limit = integer_parameter(target, "limit", 1, kListMax);
    if (!limit) return error_answer(400, limit.error().message);
    const auto most = static_cast<std::size_t>(limit->value_or(kListDefault));
    auto page = recordings.page(text_parameter(target, "after").value_or(""), most + 1);
    const bool more = page.size() > most;
    if (more) page.pop_back();
    json listed = json::array();
    for (const RecordingInfo& info : page) {
        const bool is_live = live && info.id == live->id;
        listed.push_back(recording_json(is_live ? *live : info, is_live));
    }
    return json_answer({{"recordings", std::move(listed)},
                        {"next", more ? json(page.back().id) : json(nullptr)},
                        {"live", live ? json(live->id) : json(nullptr)}});
}

/// Without a file it has yet to be copied.
Answer attachment(std::shared_ptr<FileBody> file, const std::filesystem::path& path) {
    Answer answer;
    answer.length_unknown = file == nullptr;
    answer.file = std::move(file);
    answer.content_type = "application/vnd.sqlite3";
    answer.headers.emplace_back("Content-Disposition",
                                fmt::format("attachment; filename=\"{}\"", path.filename().string()));
    return answer;
}

} // namespace

awaitable<Answer> RecordingRoutes::list(const Request& request) {
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (const auto allowed = allow_parameters(request.target, {"after", "limit"}); !allowed)
        co_return error_answer(400, allowed.error().message);
    std::optional<RecordingInfo> live;
    if (live_.tape()) live = live_.info(recorder_().file_bytes);
    const WorkerTask task = [recordings = recordings_, target = request.target, live = std::move(live)](ReaderCache&) {
        return list_page(*recordings, target, live);
    };
    co_return co_await on_worker(workers_, Lane::stored, request.client, task);
}

awaitable<Answer> RecordingRoutes::read(const Request& request) {
    const std::string& what = request.target.segments[3];
    const auto place = live_.find(request.target.segments[2]);
    if (!place) co_return error_answer(404, place.error().message);
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (what == "download") co_return co_await download(request, *place);
    if (what == "report") co_return co_await report(request, *place);
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
        co_return error_answer(
            404, "a recording has description, series, latest, events, shocks, frames, report, download and meta");
    const WorkerTask task = task_for(
        folder_, *place, [asked, target = request.target](RecordingReader& reader) { return asked(reader, target); });
    co_return co_await on_worker(workers_, place->live ? Lane::live : Lane::stored, request.client, task);
}

awaitable<Answer> RecordingRoutes::report(const Request& request, const RecordingPlace& place) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    // It reads the whole file, as a download does.
    auto place_taken = budgets_.take(Budget::downloads, request.client);
    if (!place_taken) co_return busy_answer(place_taken.error().message);
    const auto slot = std::make_shared<Lease>(std::move(*place_taken));
    const WorkerTask task = [&folder = folder_, place, slot](ReaderCache&) {
        const auto path = file_of(folder, place);
        if (!path) return path.error();
        auto page = report_page(*path);
        if (!page) return error_answer(503, page.error().message);
        Answer answer;
        answer.content_type = "text/html; charset=utf-8";
        answer.styled_page = true;
        answer.body = std::move(*page);
        return answer;
    };
    co_return co_await on_worker(workers_, Lane::slow, request.client, task);
}

awaitable<Answer> RecordingRoutes::download(const Request& request, const RecordingPlace& place) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    auto place_taken = budgets_.take(Budget::downloads, request.client);
    if (!place_taken) co_return busy_answer(place_taken.error().message);
    const auto slot = std::make_shared<Lease>(std::move(*place_taken));
    const bool head = request.method == Method::head;

    const WorkerTask as_it_is = [&folder = folder_, &downloads = downloads_, place, slot](ReaderCache&) {
        const auto path = file_of(folder, place);
        if (!path) return path.error();
        return attachment(place.live ? nullptr : downloads.as_it_is(*path, slot), *path);
    };
    Answer answer = co_await on_worker(workers_, Lane::stored, request.client, as_it_is);
    if (answer.status != 200 || answer.file || head) co_return answer;

    auto copying = budgets_.take(Budget::disk_copies, request.client);
    if (!copying) co_return busy_answer(copying.error().message);
    const auto slots = std::make_shared<std::pair<std::shared_ptr<Lease>, Lease>>(slot, std::move(*copying));
    const WorkerTask copy = task_for(folder_, place, [&downloads = downloads_, slots](RecordingReader& reader) {
        auto copied = downloads.copy(reader, std::shared_ptr<Lease>(slots, &slots->second));
        return copied ? attachment(std::move(*copied), reader.info().path) : error_answer(503, copied.error().message);
    });
    co_return co_await on_worker(workers_, Lane::slow, request.client, copy);
}

} // namespace turnstone
