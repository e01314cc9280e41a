#include "tests/serve/fixture.hpp"

#include <cstdlib>
#include <stdexcept>

#include <zlib.h>

#include "tests/support/recorder_settings.hpp"

using namespace turnstone;

namespace {

std::string gzip(const std::string& text) {
    z_stream stream{};
    if (deflateInit2(&stream, 9, Z_DEFLATED, 16 + MAX_WBITS, 8, Z_DEFAULT_STRATEGY) != Z_OK)
        throw std::runtime_error("deflateInit2");
    std::string out(text.size() + 200, '\0');
    stream.next_in = reinterpret_cast<unsigned char*>(const_cast<char*>(text.data()));
    stream.avail_in = static_cast<unsigned>(text.size());
    stream.next_out = reinterpret_cast<unsigned char*>(out.data());
    stream.avail_out = static_cast<unsigned>(out.size());
    deflate(&stream, Z_FINISH);
    out.resize(stream.total_out);
    deflateEnd(&stream);
    return out;
}

std::span<const Asset> test_assets() {
    static const std::string index = gzip("<!doctype html><title>test page</title>");
    static const std::string script = gzip("console.log('test');");
    const auto asset = [](std::string_view path, const std::string& bytes, std::string_view type) {
        const auto* begin = reinterpret_cast<const unsigned char*>(bytes.data());
        return Asset{path, begin, begin + bytes.size(), type};
    };
    static const std::vector<Asset> assets{asset("/index.html", index, "text/html; charset=utf-8"),
                                           asset("/assets/index-4f3a.js", script, "text/javascript; charset=utf-8"),
                                           asset("/worker.js", script, "text/javascript; charset=utf-8")};
    return assets;
}

} // namespace

ServeSettings serve_settings(const std::filesystem::path& recordings) {
    return {.listen_address = "127.0.0.1",
            .port = 0,
            .tls = {},
            .host_names = {},
            .recordings = recordings,
            .operator_key = kOperatorKey,
            .assets = test_assets(),
            .viewers_max = 100};
}

std::string begin_recording(Recorder& recorder, const Schema& schema, const std::string& name) {
    return recorder.begin(schema,
                          {.t_start_ns = kTapeStartNs, .utc_start_ns = kTapeStartNs, .name = name, .continues = ""},
                          kTapeStartNs);
}

std::string record_flight(const std::filesystem::path& folder) {
    RecorderSettings settings = test::recorder_settings(folder);
    settings.sync_every_commit = false; // no power is cut here
    const auto setup = golden_setup();
    const auto schema = golden_schema();
    Recorder recorder(settings, *setup);
    std::string id = begin_recording(recorder, *schema, "Test flight");
    auto batch = std::make_shared<Batch>();
    for (int i = 0; i <= 2000; ++i) {
        add_row(*batch, 0, i * 0.005, {i * 0.005, 1.0});
        if (i % 8 == 0) add_row(*batch, 1, i * 0.005, {87850.0 - 0.125 * i}, {"ok"});
        if (i % 20 == 0) add_row(*batch, 2, i * 0.005, {10.0 * i, 0.5, 2.0, 0.25, 1.0});
    }
    batch->events.push_back(phase_event(3.25));
    recorder.push(batch, {});
    if (!recorder.flush(10'000)) throw std::runtime_error("the recording was not written: " + recorder.status().fault);
    return id;
}

LiveServer::LiveServer(const std::function<void(ServeSettings&)>& adjust, bool with_tape) {
    recorder_.recording = true;
    recorder_.file_bytes = 81920;
    ServeSettings settings = serve_settings(folder.path());
    if (adjust) adjust(settings);
    ServeSources sources;
    sources.station_now_ns = [] { return kTapeStartNs + 12'750'000'000; };
    sources.links = [] {
        return std::vector<LinkView>{{.name = "radio",
                                      .state = LinkState::open,
                                      .detail = "",
                                      .bytes = 1234,
                                      .t_last_ns = kTapeStartNs + 12'500'000'000}};
    };
    sources.recorder = [this] {
        const std::lock_guard lock(mutex_);
        return recorder_;
    };
    const auto note = [this](std::string text, OwedReceipt receipt) {
        const std::lock_guard lock(mutex_);
        actions_.push_back(std::move(text));
        record_(std::move(receipt));
    };
    OperatorActions allowed{
        .action =
            [this, note](const Action& action, OwedReceipt receipt) {
                const auto* change = std::get_if<OperatorChange>(&action);
                if (change == nullptr) return note(to_json(action), std::move(receipt));
                const std::lock_guard lock(mutex_);
                operator_changes_.push_back(*change);
            },
        .new_recording = [note](const std::string& name,
                                OwedReceipt receipt) { note("recording:" + name, std::move(receipt)); },
        .set_live_meta = [note](const std::string& key, const std::string& value,
                                OwedReceipt receipt) { note(key + "=" + value, std::move(receipt)); }};
    server = std::make_unique<Server>(settings, sources, allowed);
    if (const auto started = server->start(); !started) throw std::runtime_error(started.error().message);
    if (with_tape) server->begin_recording(golden_tape());
}

void LiveServer::publish(Batch batch) const {
    server->publish(std::make_shared<const Batch>(std::move(batch)));
}

HttpReply LiveServer::get(const std::string& target, const Fields& fields) const {
    return http_request(port(), "GET", target, fields);
}

HttpReply LiveServer::post(const std::string& target, const std::string& body, const Fields& fields) const {
    Fields all{{"Content-Type", "application/json"}};
    all.insert(all.end(), fields.begin(), fields.end());
    return http_request(port(), "POST", target, all, body);
}

Fields LiveServer::operator_cookie() const {
    const auto reply = post("/api/session", nlohmann::json{{"key", kOperatorKey}}.dump());
    const std::string cookie = reply.field("Set-Cookie");
    return {{"Cookie", cookie.substr(0, cookie.find(';'))}};
}

std::vector<OperatorChange> LiveServer::operator_changes() const {
    const std::lock_guard lock(mutex_);
    return operator_changes_;
}

std::vector<std::string> LiveServer::actions() const {
    const std::lock_guard lock(mutex_);
    return actions_;
}

void LiveServer::set_recorder(RecorderStatus status) {
    const std::lock_guard lock(mutex_);
    recorder_ = std::move(status);
}

void LiveServer::record_by(std::function<void(OwedReceipt)> record) {
    const std::lock_guard lock(mutex_);
    record_ = std::move(record);
}
