#include "server/serve/http/flights/flight_routes.hpp"

#include <chrono>
#include <optional>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/debrief/flights/chapters.hpp"
#include "server/debrief/flights/open_flight.hpp"
#include "server/exchange/import/uploads.hpp"
#include "server/record/amend/add_action.hpp"
#include "server/record/amend/set_aside.hpp"
#include "server/record/by_name/recorded.hpp"
#include "server/record/derive.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/serve/encode/tape_time.hpp"
#include "server/serve/http/on_worker.hpp"
#include "server/serve/http/recorded_actions.hpp"
#include "server/serve/http/refusals.hpp"
#include "server/serve/parse/flights/flight_request.hpp"

namespace turnstone {

namespace {

using boost::asio::awaitable;
using nlohmann::json;

/// One recording after the other, so that whoever else waits for a slow thread has a turn between them.
void read_next(Workers& workers, debrief::LogBook& book, const Client& client, const std::string& live_id) {
    const auto taken = workers.submit(Lane::slow, client, [&workers, &book, client, live_id](ReaderCache&) {
        if (book.read_one(live_id)) {
            read_next(workers, book, client, live_id);
            return;
        }
        book.end_reading();
        static_cast<void>(book.list(live_id)); // keeps what was read for the next start
    });
    if (!taken) book.end_reading(); // the next list goes on with it
}

Answer nothing_to_say() {
    return json_answer(json::object());
}

Answer is_under_way(std::string_view what) {
    return error_answer(409, "this recording is under way; start another one before you " + std::string(what) + " it");
}

} // namespace

/// Of the flight that was asked for.
struct FlightRoutes::FoundChapter {
    std::int64_t t_start_ns = 0; ///< of the recording
    /// Within the flight: behind everything that was written into it; empty: now.
    std::optional<std::int64_t> t_ns = {};
    std::string vehicle = {};
};

awaitable<Answer> FlightRoutes::list(const Request& request) {
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    const std::string live_id = live_.tape() ? live_.tape()->id : std::string();
    const WorkerTask task = [&book = book_, &folder = folder_, live_id](ReaderCache&) {
        json listed = book.list(live_id);
        json removed = json::array();
        for (const AsideRecording& aside : recordings_aside(folder, std::chrono::system_clock::now()))
            removed.push_back({{"id", aside.id}, {"until_utc_ns", std::to_string(aside.until_utc_ns)}});
        listed["removed"] = std::move(removed);
        exchange::remove_old_uploads(folder); // of imports that were cancelled
        return json_answer(listed);
    };
    Answer answer = co_await on_worker(workers_, Lane::stored, request.client, task);
    if (book_.begin_reading()) read_next(workers_, book_, request.client, live_id);
    co_return answer;
}

awaitable<Answer> FlightRoutes::describe(const Request& request) {
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator) co_return needs_operator();
    if (auto refused = refuse_body(request)) co_return std::move(*refused);
    const auto id = debrief::parse_flight_id(request.target.segments[2]);
    if (!id) co_return error_answer(404, id.error().message);
    auto given = parse_flight_request(request.body);
    if (!given) co_return error_answer(400, given.error().message);
    const MakeActions make = [given = std::move(*given)](const FoundChapter& found) {
        std::vector<Action> actions;
        if (given.name) actions.emplace_back(NameFlight{found.vehicle, *given.name, found.t_ns});
        if (given.notes || given.tags || given.configuration)
            actions.emplace_back(
                DescribeFlight{found.vehicle, given.notes, given.tags, given.configuration, found.t_ns});
        return actions;
    };
    co_return co_await write(request, *id, make);
}

awaitable<Answer> FlightRoutes::bookmark(const Request& request) {
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator) co_return needs_operator();
    if (auto refused = refuse_body(request)) co_return std::move(*refused);
    const auto id = debrief::parse_flight_id(request.target.segments[2]);
    if (!id) co_return error_answer(404, id.error().message);
    auto given = parse_bookmark_request(request.body);
    if (!given) co_return error_answer(400, given.error().message);
    const MakeActions make = [given = std::move(*given)](const FoundChapter& found) {
        if (!given.key.empty()) return std::vector<Action>{ChangeMark{given.key, given.text}};
        return std::vector<Action>{Marker{given.text.value_or(""), tape_ns(given.t_s, found.t_start_ns)}};
    };
    co_return co_await write(request, *id, make);
}

awaitable<Answer> FlightRoutes::write(const Request& request, const debrief::FlightId& id, const MakeActions& make) {
    const auto place = live_.find(id.recording);
    if (!place) co_return error_answer(404, place.error().message);
    const auto found = std::make_shared<FoundChapter>();
    const WorkerTask look = [&folder = folder_, place = *place, id, found](ReaderCache& cache) {
        const auto path = path_of(folder, place);
        if (!path) return place.live ? busy_answer(path.error().message) : error_answer(404, path.error().message);
        const auto reader = cache.get(*path);
        if (!reader) return error_answer(503, reader.error().message);
        const Recorded recorded(**reader);
        const auto chapters = debrief::chapters_in(recorded);
        const debrief::Chapter* chapter = debrief::find_chapter(recorded, chapters, id);
        if (chapter == nullptr || !chapter->liftoff_ns)
            return error_answer(404, "this recording has no such flight; GET /api/flights lists the flights");
        const bool is_last = chapter->window.to_ns >= recorded.whole().to_ns;
        *found = {.t_start_ns = recorded.info().t_start_ns,
                  .t_ns = is_last ? std::nullopt : std::optional(chapter->window.to_ns - 1),
                  .vehicle = id.vehicle};
        return nothing_to_say();
    };
    Answer answer = co_await on_worker(workers_, place->live ? Lane::live : Lane::slow, request.client, look);
    if (answer.status != 200) co_return answer;
    if (place->live) {
        RecordedActions acts(actions_);
        for (Action& action : make(*found)) acts.action(std::move(action));
        auto recorded = acts.once_recorded(std::move(answer));
        co_return co_await std::move(recorded);
    }
    workers_.release_readers();
    const WorkerTask add = [&folder = folder_, &downloads = downloads_, place = *place,
                            actions = make(*found)](ReaderCache& cache) {
        const auto path = path_of(folder, place);
        if (!path) return error_answer(404, path.error().message);
        cache.clear();
        downloads.cut(*path);
        // One that the station has not yet gone through since it was closed is gone through first.
        if (const auto finished = finish_recording(*path); !finished)
            return error_answer(503, finished.error().message);
        for (const Action& action : actions)
            if (const auto added = add_action(*path, action); !added) return error_answer(503, added.error().message);
        return nothing_to_say();
    };
    co_return co_await on_worker(workers_, Lane::slow, request.client, add);
}

awaitable<Answer> FlightRoutes::archive(const Request& request) {
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator) co_return needs_operator();
    if (auto refused = refuse_body(request)) co_return std::move(*refused);
    const auto archived = parse_archive_request(request.body);
    if (!archived) co_return error_answer(400, archived.error().message);
    const auto place = live_.find(request.target.segments[2]);
    if (!place) co_return error_answer(404, place.error().message);
    if (place->live) co_return is_under_way("archive");
    workers_.release_readers();
    const WorkerTask task = [&folder = folder_, &downloads = downloads_, place = *place,
                             archived = *archived](ReaderCache& cache) {
        const auto path = path_of(folder, place);
        if (!path) return error_answer(404, path.error().message);
        cache.clear();
        downloads.cut(*path);
        const auto stored = set_recording_meta(*path, "archived", archived ? "1" : "");
        return stored ? nothing_to_say() : error_answer(503, stored.error().message);
    };
    co_return co_await on_worker(workers_, Lane::stored, request.client, task);
}

awaitable<Answer> FlightRoutes::remove(const Request& request) {
    if (!request.client.is_operator) co_return needs_operator();
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    const auto place = live_.find(request.target.segments[2]);
    if (!place) co_return error_answer(404, place.error().message);
    if (place->live) co_return is_under_way("delete");
    workers_.release_readers();
    const WorkerTask task = [&folder = folder_, &downloads = downloads_, place = *place](ReaderCache& cache) {
        const auto path = path_of(folder, place);
        if (!path) return error_answer(404, path.error().message);
        cache.clear();
        downloads.cut(*path);
        const auto moved = set_aside(*path);
        return moved ? nothing_to_say() : error_answer(503, moved.error().message);
    };
    co_return co_await on_worker(workers_, Lane::stored, request.client, task);
}

awaitable<Answer> FlightRoutes::restore(const Request& request) {
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator) co_return needs_operator();
    if (auto refused = refuse_body(request)) co_return std::move(*refused);
    const WorkerTask task = [&folder = folder_, id = request.target.segments[2]](ReaderCache&) {
        const auto back = bring_back(folder, id);
        return back ? nothing_to_say() : error_answer(404, back.error().message);
    };
    co_return co_await on_worker(workers_, Lane::stored, request.client, task);
}

} // namespace turnstone
