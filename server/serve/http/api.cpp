#include "server/serve/http/api.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>

#include <boost/asio/async_result.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <nlohmann/json.hpp>

#include "server/record/read/catalogue.hpp"
#include "server/serve/http/recording_reads.hpp"

namespace turnstone {
namespace {

using boost::asio::awaitable;
using nlohmann::json;

constexpr std::size_t kDownloadsMax = 2; // each is a copy of a whole recording on the disk that is being recorded to
constexpr std::size_t kNameBytesMax = 200;
constexpr std::size_t kTextBytesMax = 16u << 10;
constexpr double kSecondsMax = 1e9;

bool reads(const Request& request) {
    return request.method == Method::get || request.method == Method::head;
}

/// The body as a JSON object, or the answer that says why not.
tl::expected<json, Answer> json_body(const Request& request) {
    if (!request.content_type.starts_with("application/json"))
        return tl::unexpected<Answer>(error_answer(415, "send the request's body as 'Content-Type: application/json'"));
    json body = json::parse(request.body, nullptr, false);
    if (!body.is_object()) return tl::unexpected<Answer>(error_answer(400, "the request's body must be a JSON object"));
    return body;
}

/// A text member within its limit; `required` or absent.
tl::expected<std::optional<std::string>, Answer> text_member(const json& body, const char* name, bool required,
                                                             std::size_t bytes_max) {
    const auto found = body.find(name);
    if (found == body.end() && !required) return std::optional<std::string>();
    if (found == body.end() || !found->is_string() || found->get_ref<const std::string&>().size() > bytes_max)
        return tl::unexpected<Answer>(error_answer(400, std::string("member '") + name +
                                                            "' must be a text of at most " + std::to_string(bytes_max) +
                                                            " bytes"));
    return std::optional(found->get<std::string>());
}

std::optional<Answer> refuse_unknown_members(const json& body, std::initializer_list<std::string_view> names) {
    for (const auto& [name, value] : body.items())
        if (std::find(names.begin(), names.end(), name) == names.end())
            return error_answer(400, "unknown member '" + name.substr(0, 40) + "' in the request's body");
    return std::nullopt;
}

/// Named before it is awaited: g++ 12 destroys a closure written inside a co_await expression twice.
using Work = std::function<Answer(ReaderCache&)>;

Answer needs_operator() {
    return error_answer(403,
                        "only the operator may do this; give the operator key that the server printed at its start");
}

Answer no_parameters(const Target& target, Answer answer) {
    const auto allowed = allow_parameters(target, {});
    return allowed ? std::move(answer) : error_answer(400, allowed.error().message);
}

} // namespace

awaitable<Answer> on_worker(Hub& hub, std::function<Answer(ReaderCache&)> work) {
    return boost::asio::async_initiate<const boost::asio::use_awaitable_t<>, void(Answer)>(
        [&hub](auto handler, std::function<Answer(ReaderCache&)> task) {
            // Jobs must be copyable, a coroutine's handler is not.
            auto shared = std::make_shared<decltype(handler)>(std::move(handler));
            const auto finish = [shared, &context = hub.context()](Answer answer) {
                boost::asio::post(
                    context,
                    [shared, answer = std::move(answer)]() mutable { std::move (*shared)(std::move(answer)); });
            };
            const bool taken = hub.workers().submit([task = std::move(task), finish](ReaderCache& cache) {
                Answer answer;
                try {
                    answer = task(cache);
                } catch (const std::exception& failure) {
                    answer = error_answer(503, std::string("the recording could not be read: ") + failure.what());
                }
                finish(std::move(answer));
            });
            if (!taken) finish(error_answer(503, "the server is busy reading for others; try again in a moment"));
        },
        boost::asio::use_awaitable, std::move(work));
}

Api::Api(Hub& hub, OperatorAccess& access, StaticFiles files) : hub_(hub), access_(access), files_(std::move(files)) {}

awaitable<Answer> Api::answer(const Request& request) {
    const auto& segments = request.target.segments;
    const std::string& path = request.target.path;
    if (path == "/api/session") co_return session(request);
    if (segments.size() == 3 && segments[0] == "api" && segments[1] == "live") co_return live_action(request);
    if (path == "/api/stream") co_return error_answer(400, "this address speaks WebSocket (RFC 6455) only");
    if (path == "/api/recordings") {
        // No conditional expression around co_await: g++ 12 destroys its temporary twice.
        if (!reads(request)) co_return method_answer("GET, HEAD");
        co_return co_await list(request);
    }
    if (segments.size() == 4 && segments[0] == "api" && segments[1] == "recordings")
        co_return co_await recording(request);
    if (!segments.empty() && segments[0] == "api")
        co_return error_answer(404, "the interface has no such address; protocol/STREAM.md lists them");
    if (!reads(request)) co_return method_answer("GET, HEAD");
    if (path == "/healthz") co_return no_parameters(request.target, health(request));
    if (path == "/metrics") {
        Answer answer;
        answer.content_type = "text/plain; version=0.0.4; charset=utf-8";
        answer.body = hub_.metrics();
        co_return answer;
    }
    co_return files_.answer(request);
}

Answer Api::health(const Request&) const {
    const RecorderStatus recorder = hub_.sources().recorder();
    Answer answer;
    answer.content_type = "text/plain; charset=utf-8";
    answer.body = "ok\n";
    if (!recorder.fault.empty() || !recorder.recording) {
        answer.status = 503;
        answer.body = (recorder.fault.empty() ? std::string("nothing is being recorded") : recorder.fault) + "\n";
    }
    return answer;
}

Answer Api::session(const Request& request) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    if (reads(request))
        return json_answer({{"role", by_operator(request) ? "operator" : "viewer"}, {"version", TURNSTONE_VERSION}});
    if (request.method != Method::post) return method_answer("GET, HEAD, POST");
    const auto body = json_body(request);
    if (!body) return body.error();
    if (auto unknown = refuse_unknown_members(*body, {"key"})) return std::move(*unknown);
    const auto key = text_member(*body, "key", true, kNameBytesMax);
    if (!key) return key.error();
    const auto attempt = access_.attempt(request.remote_address, **key, OperatorAccess::Clock::now());
    if (attempt.verdict == OperatorAccess::Verdict::granted) {
        Answer answer = json_answer({{"role", "operator"}, {"version", TURNSTONE_VERSION}});
        answer.headers.emplace_back("Set-Cookie", attempt.set_cookie);
        return answer;
    }
    ++hub_.counters().operator_refusals;
    if (attempt.verdict == OperatorAccess::Verdict::wrong)
        return error_answer(403, "this is not the operator key; it is printed where the server was started");
    Answer answer = error_answer(429, "too many wrong keys from this address; wait a few seconds and try again");
    answer.headers.emplace_back("Retry-After", "2");
    return answer;
}

Answer Api::live_action(const Request& request) {
    const std::string& what = request.target.segments[2];
    if (what != "marker" && what != "note" && what != "recording")
        return error_answer(404, "the live tape takes 'marker', 'note' and 'recording'");
    if (request.method != Method::post) return method_answer("POST");
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    if (!by_operator(request)) return needs_operator();
    const auto body = json_body(request);
    if (!body) return body.error();
    if (!hub_.tape()) return error_answer(503, "nothing is being recorded yet; try again in a moment");
    if (what == "recording") {
        if (auto unknown = refuse_unknown_members(*body, {"name"})) return std::move(*unknown);
        const auto name = text_member(*body, "name", false, kNameBytesMax);
        if (!name) return name.error();
        hub_.actions().new_recording(name->value_or(""));
        return json_answer(json::object());
    }
    if (auto unknown = refuse_unknown_members(*body, {"text", "t_s"})) return std::move(*unknown);
    const auto text = text_member(*body, "text", true, kTextBytesMax);
    if (!text) return text.error();
    std::optional<std::int64_t> t_ns;
    if (const auto t_s = body->find("t_s"); t_s != body->end()) {
        if (!t_s->is_number() || !(std::abs(t_s->get<double>()) <= kSecondsMax))
            return error_answer(400, "member 't_s' must be a number of seconds since the recording's start");
        t_ns = tape_ns(t_s->get<double>(), hub_.tape()->t_start_ns);
    }
    hub_.actions().action(what == "marker" ? Action(Marker{**text, t_ns}) : Action(Note{**text, t_ns}));
    return json_answer(json::object());
}

awaitable<Answer> Api::list(const Request& request) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    const std::string live = hub_.tape() ? hub_.tape()->id : std::string();
    const Work work = [live, folder = hub_.settings().recordings](ReaderCache&) {
        json recordings = json::array();
        for (const RecordingInfo& info : scan_recordings(folder))
            recordings.push_back(recording_json(info, info.id == live));
        return json_answer(
            {{"recordings", std::move(recordings)}, {"live", live.empty() ? json(nullptr) : json(live)}});
    };
    co_return co_await on_worker(hub_, work);
}

awaitable<Answer> Api::recording(const Request& request) {
    const std::string& what = request.target.segments[3];
    const auto& tape = hub_.tape();
    std::string id = request.target.segments[2];
    if (id == "live") {
        if (!tape) co_return error_answer(404, "nothing is being recorded");
        id = tape->id;
    }
    const bool live = tape && tape->id == id;
    const auto found = recording_path(hub_.settings().recordings, id);
    if (!found && !live) co_return error_answer(404, found.error().message);
    std::filesystem::path path =
        found.value_or(std::filesystem::path()); // empty: the recorder has yet to make the live file

    if (what == "meta") {
        if (request.method != Method::post) co_return method_answer("POST");
        co_return co_await set_meta(request, std::move(path), live);
    }
    if (!reads(request)) co_return method_answer("GET, HEAD");
    if (what == "download") co_return co_await download(request, std::move(path), live);
    if (what == "description" && live)
        co_return no_parameters(request.target,
                                json_answer(description_json(hub_.live_info(), true, *tape->schema, *tape->setup)));

    using Read = Answer (*)(RecordingReader&, const Target&);
    const Read read = what == "series"   ? Read(read_series)
                      : what == "latest" ? Read(read_latest)
                      : what == "events" ? Read(read_events)
                      : what == "frames" ? Read(read_frames)
                      : what == "description"
                          ? Read([](RecordingReader& r, const Target& t) { return read_description(r, t, false); })
                          : nullptr;
    if (read == nullptr)
        co_return error_answer(404, "a recording has description, series, latest, events, frames, download and meta");
    const Work work = [read, live, path = std::move(path), target = request.target](ReaderCache& cache) {
        if (!std::filesystem::exists(path))
            return error_answer(live ? 503 : 404,
                                live ? "the recording's file is not on the disk yet; try again in a moment"
                                     : "there is no such recording; /api/recordings lists them");
        const auto reader = cache.get(path);
        return reader ? read(**reader, target) : error_answer(503, reader.error().message);
    };
    co_return co_await on_worker(hub_, work);
}

awaitable<Answer> Api::download(const Request& request, std::filesystem::path path, bool live) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    if (downloads_ >= kDownloadsMax)
        co_return error_answer(503, "two copies of recordings are being made already; try again in a moment");
    ++downloads_;
    const Work work = [live, path = std::move(path), folder = hub_.settings().recordings](ReaderCache& cache) {
        if (!std::filesystem::exists(path))
            return error_answer(live ? 503 : 404, "there is no such recording; /api/recordings lists them");
        const auto reader = cache.get(path);
        return reader ? read_snapshot(**reader, folder) : error_answer(503, reader.error().message);
    };
    Answer answer = co_await on_worker(hub_, work);
    --downloads_;
    co_return answer;
}

awaitable<Answer> Api::set_meta(const Request& request, std::filesystem::path path, bool live) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    if (!by_operator(request)) co_return needs_operator();
    const auto body = json_body(request);
    if (!body) co_return body.error();
    if (auto unknown = refuse_unknown_members(*body, {"name", "notes"})) co_return std::move(*unknown);
    const auto name = text_member(*body, "name", false, kNameBytesMax);
    if (!name) co_return name.error();
    const auto notes = text_member(*body, "notes", false, kTextBytesMax);
    if (!notes) co_return notes.error();
    if (!*name && !*notes) co_return error_answer(400, "give 'name' or 'notes', or both");
    if (live) {
        if (*name) hub_.set_live_meta("name", **name);
        if (*notes) hub_.set_live_meta("notes", **notes);
        co_return json_answer(json::object());
    }
    hub_.workers().release_readers();
    const Work work = [path = std::move(path), name = *name, notes = *notes](ReaderCache& cache) {
        cache.clear();
        if (!std::filesystem::exists(path))
            return error_answer(404, "there is no such recording; /api/recordings lists them");
        for (const auto& [key, value] : {std::pair("name", name), std::pair("notes", notes)}) {
            if (!value) continue;
            if (const auto done = set_recording_meta(path, key, *value); !done)
                return error_answer(503, done.error().message);
        }
        return json_answer(json::object());
    };
    co_return co_await on_worker(hub_, work);
}

} // namespace turnstone
