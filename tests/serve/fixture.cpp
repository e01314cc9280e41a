#include "tests/serve/fixture.hpp"

#include <cmath>
#include <stdexcept>

#include <zlib.h>

#include "tests/support/hex.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

Column column(const std::string& name, const std::string& description, const std::string& unit = "1",
              const std::string& group = "", int decimals = 2) {
    Column out;
    out.name = name;
    out.description = description;
    out.unit = unit;
    out.group = group;
    out.decimals = decimals;
    return out;
}

Table table(TableId id, const std::string& name, const std::string& title, TableKind kind, int vehicle, double period_s,
            std::vector<Column> columns) {
    Table out;
    out.id = id;
    out.name = name;
    out.title = title;
    out.kind = kind;
    out.vehicle = vehicle;
    out.period_s = period_s;
    out.columns = std::move(columns);
    for (const Column& c : out.columns) out.number_count += c.is_text ? 0 : 1;
    return out;
}

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
                                           asset("/assets/index-4f3a.js", script, "text/javascript; charset=utf-8")};
    return assets;
}

} // namespace

std::shared_ptr<const Schema> golden_schema() {
    auto schema = std::make_shared<Schema>();
    auto accel = column("accel_body_x", "Specific force along the long axis", "m/s2", "Inertial");
    accel.valid_range = std::pair(-160.0, 160.0);
    accel.role = Role::accel_body_x;
    auto rate = column("rate_body_x", "Roll rate", "rad/s", "Inertial", 3);
    rate.role = Role::rate_body_x;
    auto pressure = column("static_pressure", "Static pressure", "Pa", "Air data", 0);
    pressure.role = Role::static_pressure;
    auto note = column("note", "Sensor's word", "1", "", 0);
    note.is_text = true;
    auto altitude = column("altitude_m", "Above the pad", "m", "Vertical", 1);
    altitude.sigma_column = "altitude_sigma_m";
    auto speed = column("vertical_speed_mps", "Up positive", "m/s", "Vertical", 1);
    speed.sigma_column = "vertical_speed_sigma_mps";
    auto state = column("state", "State of the link", "1", "", 0);
    state.enumeration = {{0, "opening"}, {1, "open"}};
    schema->tables = {table(0, "sanderling/imu.samples", "Inertial samples", TableKind::batch, 0, 0.005, {accel, rate}),
                      table(1, "sanderling/baro", "Barometer", TableKind::packet, 0, 0.04, {pressure, note}),
                      table(2, "sanderling/estimate/vertical", "Vertical", TableKind::estimate, 0, 0.1,
                            {altitude, speed, column("altitude_sigma_m", "1-sigma", "m"),
                             column("vertical_speed_sigma_mps", "1-sigma", "m/s")}),
                      table(3, "link/radio", "radio", TableKind::link, -1, 1.0, {state})};
    return schema;
}

std::shared_ptr<const PipelineSetup> golden_setup() {
    auto setup = std::make_shared<PipelineSetup>();
    std::vector<Problem> problems;
    VehicleSetup vehicle;
    vehicle.dictionary_json = read_file(demo_path("sanderling/dictionary.json"));
    vehicle.vehicle_json = read_file(demo_path("sanderling/vehicle.json"));
    vehicle.dictionary = read_dictionary(nlohmann::json::parse(vehicle.dictionary_json), "dictionary.json", problems);
    vehicle.vehicle = read_vehicle(nlohmann::json::parse(vehicle.vehicle_json), "vehicle.json", problems);
    setup->vehicles.push_back(std::move(vehicle));
    setup->site_json = read_file(demo_path("site.json"));
    setup->site = read_site(nlohmann::json::parse(setup->site_json), "site.json", problems);
    setup->site.boundary.resize(3);
    setup->links.push_back({"radio", "serial:/dev/ttyUSB0?baud=57600", 0});
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    return setup;
}

LiveTape golden_tape() {
    return {kTapeId, "First light", kTapeStartNs, kTapeStartNs, golden_schema(), golden_setup()};
}

std::string golden_text(const std::string& name) {
    return read_file(source_path("tests/golden/stream/" + name));
}

std::string golden_bytes(const std::string& name) {
    return text_from_hex(golden_text(name));
}

void add_row(Batch& batch, TableId table_id, double t_s, const std::vector<double>& numbers,
             const std::vector<std::string>& texts) {
    const std::int64_t t_ns = kTapeStartNs + static_cast<std::int64_t>(std::llround(t_s * 1e9));
    batch.rows.push_back({table_id, t_ns, t_ns, -1, static_cast<std::uint32_t>(batch.numbers.size()),
                          static_cast<std::uint32_t>(batch.texts.size())});
    batch.numbers.insert(batch.numbers.end(), numbers.begin(), numbers.end());
    batch.texts.insert(batch.texts.end(), texts.begin(), texts.end());
}

Event make_event(double t_s, const std::string& key, const std::string& text) {
    const std::int64_t t_ns = kTapeStartNs + static_cast<std::int64_t>(std::llround(t_s * 1e9));
    return {
        t_ns, t_ns + 250'000'000, 0.01, EventKind::phase, Level::note, 0, key, text, R"({"acceleration_mps2":96.5})"};
}

std::string record_flight(const std::filesystem::path& folder) {
    RecorderSettings settings;
    settings.directory = folder;
    settings.sync_every_commit = false; // no power is cut here
    const auto setup = golden_setup();
    const auto schema = golden_schema();
    Recorder recorder(settings, *setup);
    const std::string id = recorder.begin(*schema, kTapeStartNs, kTapeStartNs, "Test flight");
    auto batch = std::make_shared<Batch>();
    for (int i = 0; i <= 2000; ++i) {
        add_row(*batch, 0, i * 0.005, {i * 0.005, 1.0});
        if (i % 8 == 0) add_row(*batch, 1, i * 0.005, {87850.0 - i / 8}, {"ok"});
        if (i % 20 == 0) add_row(*batch, 2, i * 0.005, {10.0 * i, 2.0, 0.5, 0.25});
    }
    batch->events.push_back(make_event(3.25, "sanderling/phase/powered_ascent", "Powered ascent"));
    recorder.push(batch);
    if (!recorder.flush(10'000)) throw std::runtime_error("the recording was not written: " + recorder.status().fault);
    return id;
}

LiveServer::LiveServer(const std::function<void(ServeSettings&)>& adjust, bool with_tape) {
    recorder_.recording = true;
    recorder_.file_bytes = 81920;
    ServeSettings settings;
    settings.port = 0;
    settings.recordings = folder.path();
    settings.operator_key = kOperatorKey;
    settings.assets = test_assets();
    if (adjust) adjust(settings);
    ServeSources sources;
    sources.station_now_ns = [] { return kTapeStartNs + 12'750'000'000; };
    sources.links = [] { return std::vector<LinkView>{{"radio", "open", "", 1234, kTapeStartNs + 12'500'000'000}}; };
    sources.recorder = [this] {
        const std::lock_guard lock(mutex_);
        return recorder_;
    };
    sources.metrics = [] { return std::string("turnstone_test_source 1\n"); };
    const auto note = [this](std::string text) {
        const std::lock_guard lock(mutex_);
        actions_.push_back(std::move(text));
    };
    OperatorActions allowed{note, [note](const std::string& name) { note("cut:" + name); },
                            [note](const std::string& key, const std::string& value) { note(key + "=" + value); }};
    server = std::make_unique<Server>(settings, sources, allowed);
    if (const auto started = server->start(); !started) throw std::runtime_error(started.error().message);
    if (with_tape) server->begin_recording(golden_tape());
}

void LiveServer::publish(Batch batch) {
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

std::vector<std::string> LiveServer::actions() const {
    const std::lock_guard lock(mutex_);
    return actions_;
}

void LiveServer::set_recorder(RecorderStatus status) {
    const std::lock_guard lock(mutex_);
    recorder_ = std::move(status);
}
