/// Every route of protocol/STREAM.md section 3 over a real socket, with its refusals.
#include <catch2/catch.hpp>

#include <cstring>
#include <fstream>

#include "server/pipeline/events.hpp"
#include "server/record/read/reader.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

double number_at(const std::string& bytes, std::size_t at) {
    double value = 0;
    std::memcpy(&value, bytes.data() + at, sizeof value);
    return value;
}

std::uint32_t u32_at(const std::string& bytes, std::size_t at) {
    std::uint32_t value = 0;
    std::memcpy(&value, bytes.data() + at, sizeof value);
    return value;
}

} // namespace

TEST_CASE("the dashboard's files come by exact path, compressed or not, and are revalidated") {
    const LiveServer live;
    const HttpReply page = live.get("/", {{"Accept-Encoding", "gzip"}});
    CHECK(page.status == 200);
    CHECK(page.field("Content-Type") == "text/html; charset=utf-8");
    CHECK(page.field("Content-Encoding") == "gzip");
    CHECK(page.field("Cache-Control") == "no-cache");
    CHECK(page.field("Vary") == "Accept-Encoding");
    CHECK(page.body.substr(0, 2) == "\x1f\x8b"); // RFC 1952 section 2.3.1
    const HttpReply plain = live.get("/index.html");
    CHECK(plain.body == "<!doctype html><title>test page</title>");
    CHECK(plain.field("Content-Encoding").empty());
    CHECK(plain.field("ETag") != page.field("ETag"));

    const HttpReply again =
        live.get("/", {{"Accept-Encoding", "gzip"}, {"If-None-Match", "\"x\", W/" + page.field("ETag")}});
    CHECK(again.status == 304);
    CHECK(again.body.empty());
    CHECK(live.get("/", {{"If-None-Match", page.field("ETag")}}).status == 200); // the tag of the other encoding

    CHECK(live.get("/assets/index-4f3a.js").field("Cache-Control") == "public, max-age=31536000, immutable");
    // A service worker: browsers want it as a script, ask for it again each time, and let it hold what is below its
    // folder.
    const HttpReply worker = live.get("/worker.js");
    CHECK(worker.field("Content-Type") == "text/javascript; charset=utf-8");
    CHECK(worker.field("Cache-Control") == "no-cache");
    CHECK(worker.field("Content-Security-Policy").find("worker-src 'self'") != std::string::npos);
    const HttpReply head = http_request(live.port(), "HEAD", "/index.html");
    CHECK(head.status == 200);
    CHECK(head.field("Content-Length") == std::to_string(plain.body.size()));
    CHECK(head.body.empty());
    for (const char* missing :
         {"/index", "/assets/", "/assets/../index.html", "/%69ndex.html", "/../../etc/passwd", "/index.html/"}) {
        INFO(missing);
        CHECK(live.get(missing).status == 404);
    }
    CHECK(http_request(live.port(), "POST", "/").status == 405);
}

TEST_CASE("every answer carries the headers that keep browsers safe") {
    const LiveServer live;
    for (const char* target : {"/", "/api/session", "/nothing", "/api/recordings/none/latest", "/api/counters"}) {
        INFO(target);
        const HttpReply reply = live.get(target);
        const std::string policy = reply.field("Content-Security-Policy");
        CHECK(policy.find("default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'") == 0);
        CHECK(policy.find("frame-ancestors 'none'") != std::string::npos);
        CHECK(policy.find("unsafe") == std::string::npos);
        CHECK(reply.field("X-Content-Type-Options") == "nosniff");
        CHECK(reply.field("Referrer-Policy") == "no-referrer");
        CHECK(reply.field("Access-Control-Allow-Origin").empty());
    }
}

TEST_CASE("strangers' names and pages are refused") {
    const LiveServer live;
    const std::string own = "127.0.0.1:" + std::to_string(live.port());
    CHECK(live.get("/", {{"Host", "evil.example"}}).status == 403);
    CHECK(live.get("/api/session", {{"Host", own}, {"Origin", "http://" + own}}).status == 200);
    const HttpReply refused = live.get("/api/session", {{"Origin", "http://evil.example"}});
    CHECK(refused.status == 403);
    CHECK(refused.json().at("error").get<std::string>().find("open the dashboard from this server itself") !=
          std::string::npos);
    CHECK(raw_exchange(live.port(), "GET / HTTP/1.1\r\n\r\n").find("HTTP/1.1 400 ") == 0);
    CHECK(raw_exchange(live.port(), "GET / HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n")
              .find("HTTP/1.1 400 ") == 0);
}

TEST_CASE("requests beyond the limits are told so") {
    const LiveServer live;
    const auto status = [&](const std::string& request) { return raw_exchange(live.port(), request).substr(0, 12); };
    const std::string host = "Host: localhost\r\n";
    CHECK(status("GET /" + std::string(2100, 'a') + " HTTP/1.1\r\n" + host + "\r\n") == "HTTP/1.1 414");
    CHECK(status("GET / HTTP/1.1\r\n" + host + "X: " + std::string(9000, 'a') + "\r\n\r\n") == "HTTP/1.1 431");
    CHECK(status("POST /api/session HTTP/1.1\r\n" + host + "Content-Length: 70000\r\n\r\n" + std::string(70000, 'a')) ==
          "HTTP/1.1 413");
    CHECK(status("\x16\x03\x01 not http\r\n\r\n") == "HTTP/1.1 400");
    CHECK(status("GET / HTTP/9.9\r\n" + host + "\r\n") == "HTTP/1.1 400");
    // Two requests in one packet are answered in order, the second closing.
    const std::string two =
        raw_exchange(live.port(), "GET /api/health HTTP/1.1\r\n" + host + "\r\nGET /nothing HTTP/1.1\r\n" + host +
                                      "Connection: close\r\n\r\n");
    CHECK(two.find("HTTP/1.1 200") == 0);
    CHECK(two.find("HTTP/1.1 404") != std::string::npos);
    CHECK(two.find("Connection: close") != std::string::npos);
}

TEST_CASE("viewers read, operators act") {
    const LiveServer live;
    CHECK(live.get("/api/session").json() == json{{"role", "viewer"}, {"version", TURNSTONE_VERSION}});
    for (const char* target :
         {"/api/live/marker", "/api/live/note", "/api/live/change_mark", "/api/live/take_back", "/api/live/flight_name",
          "/api/live/recording", "/api/live/acknowledge", "/api/live/shelve", "/api/live/unshelve",
          "/api/live/countdown", "/api/recordings/live/meta"}) {
        INFO(target);
        CHECK(live.post(target, R"({"text":"x","name":"x"})").status == 403);
        CHECK(live.get(target).status == 405);
    }
    CHECK(live.actions().empty());

    const Fields cookie = live.operator_cookie();
    CHECK(live.get("/api/session", cookie).json().at("role") == "operator");
    const std::pair<const char*, const char*> of_nothing[] = {
        {"/api/live/change_mark", R"({"key":"marker/1","text":"cable in"})"},
        {"/api/live/take_back", R"({"key":"note/2"})"},
        {"/api/live/acknowledge", R"({"key":"link/radio/down"})"},
        {"/api/live/shelve", R"({"key":"link/radio/down","for_s":300})"},
        {"/api/live/unshelve", R"({"key":"link/radio/down"})"}};
    for (const auto& [target, body] : of_nothing) {
        INFO(target);
        const HttpReply refused = live.post(target, body, cookie);
        CHECK(refused.status == 404);
        CHECK(refused.body.find(json::parse(body).at("key").get<std::string>()) != std::string::npos);
    }
    CHECK(live.actions().empty());
    // Marks of before the server started again, and those that came since.
    LiveTape tape = golden_tape();
    tape.past.push_back(make_event({.id = EventId::marker, .t_ns = kTapeStartNs, .about = "1"}, kTapeStartNs));
    live.server->begin_recording(std::move(tape));
    Batch batch;
    batch.events.push_back(make_event({.id = EventId::note, .t_ns = kTapeStartNs, .about = "2"}, kTapeStartNs));
    batch.events.push_back(
        make_event({.id = EventId::link_down, .t_ns = kTapeStartNs, .about = "radio"}, kTapeStartNs));
    live.publish(std::move(batch));
    CHECK(live.post("/api/live/marker", R"({"text":"cable out","t_s":2.5})", cookie).json() == json::object());
    CHECK(live.post("/api/live/note", R"({"text":"windy"})", cookie).status == 200);
    CHECK(live.post("/api/live/change_mark", R"({"key":"marker/1","text":"cable in"})", cookie).status == 200);
    CHECK(live.post("/api/live/take_back", R"({"key":"note/2"})", cookie).status == 200);
    CHECK(live.post("/api/live/flight_name", R"({"vehicle":"sanderling","name":"Second hop"})", cookie).status == 200);
    CHECK(live.post("/api/live/recording", R"({"name":"second flight"})", cookie).status == 200);
    CHECK(live.post("/api/recordings/live/meta", R"({"name":"n","notes":"m"})", cookie).status == 200);
    CHECK(live.post("/api/live/acknowledge", R"({"key":"link/radio/down"})", cookie).json() == json::object());
    CHECK(live.post("/api/live/shelve", R"({"key":"link/radio/down","for_s":300})", cookie).status == 200);
    CHECK(live.post("/api/live/unshelve", R"({"key":"link/radio/down"})", cookie).status == 200);
    CHECK(live.post("/api/live/countdown", R"({"step":"hold","left_s":600})", cookie).status == 200);
    CHECK(live.post("/api/live/countdown", R"({"step":"hold","reason":"wind above its limit"})", cookie).status == 200);
    CHECK(live.actions() ==
          std::vector<std::string>{
              R"({"action":"marker","t_ns":"1779028327500000000","text":"cable out"})",
              R"({"action":"note","text":"windy"})", R"({"action":"change_mark","key":"marker/1","text":"cable in"})",
              R"({"action":"change_mark","key":"note/2"})",
              R"({"action":"name_flight","name":"Second hop","vehicle":"sanderling"})", "recording:second flight",
              "name=n", "notes=m", R"({"action":"acknowledge","key":"link/radio/down"})",
              R"({"action":"shelve","for_s":300.0,"key":"link/radio/down"})",
              R"({"action":"unshelve","key":"link/radio/down"})",
              R"({"action":"countdown","left_s":600.0,"step":"hold"})",
              R"({"action":"countdown","reason":"wind above its limit","step":"hold"})"});
    CHECK(live.get("/api/recordings/live/description").json().at("recording").at("name") == "n");

    struct Case {
        const char* target;
        const char* body;
        unsigned status;
    };
    const std::string too_long = R"({"step":"hold","left_s":5,"reason":")" + std::string(2001, 'w') + "\"}";
    const Case wrong[] = {
        {"/api/live/marker", "", 400},
        {"/api/live/marker", "[]", 400},
        {"/api/live/marker", "{}", 400},
        {"/api/live/marker", R"({"text":5})", 400},
        {"/api/live/marker", R"({"text":"x","t_s":"1"})", 400},
        {"/api/live/marker", R"({"text":"x","t_s":1e300})", 400},
        {"/api/live/marker", R"({"text":"x","more":1})", 400},
        {"/api/live/change_mark", R"({"key":"marker/1"})", 400},
        {"/api/live/take_back", R"({"key":"marker/1","text":"x"})", 400},
        {"/api/live/flight_name", R"({"name":"x"})", 400},
        {"/api/live/flight_name", R"({"vehicle":"nobody","name":"x"})", 404},
        {"/api/live/acknowledge", "{}", 400},
        {"/api/live/acknowledge", R"({"key":"x","for_s":5})", 400},
        {"/api/live/unshelve", R"({"key":5})", 400},
        {"/api/live/shelve", R"({"key":"x"})", 400},
        {"/api/live/shelve", R"({"key":"x","for_s":0.5})", 400},
        {"/api/live/shelve", R"({"key":"x","for_s":3601})", 400},
        {"/api/live/shelve", R"({"key":"x","for_s":"5"})", 400},
        {"/api/live/countdown", "{}", 400},
        {"/api/live/countdown", R"({"step":"launch"})", 400},
        {"/api/live/countdown", R"({"step":"run"})", 400},
        {"/api/live/countdown", R"({"step":"run","left_s":-1})", 400},
        {"/api/live/countdown", R"({"step":"resume","left_s":5})", 400},
        {"/api/live/countdown", R"({"step":"resume","reason":"wind"})", 400},
        {"/api/live/countdown", R"({"step":"run","left_s":5,"reason":"wind"})", 400},
        {"/api/live/countdown", R"({"step":"hold","reason":5})", 400},
        {"/api/live/countdown", too_long.c_str(), 400},
        {"/api/live/arm", "{}", 404},
        {"/api/recordings/live/meta", "{}", 400},
        {"/api/recordings/none/meta", R"({"name":"x"})", 404},
        {"/api/live/marker?x=1", R"({"text":"x"})", 400},
    };
    for (const Case& c : wrong) {
        INFO(c.target << " " << c.body);
        const HttpReply reply = live.post(c.target, c.body, cookie);
        CHECK(reply.status == c.status);
        CHECK_FALSE(reply.json().at("error").get<std::string>().empty());
    }
    CHECK(live.get("/api/recordings/live/events").status == 503); // the recorder has not made the file yet
    Fields form = cookie;
    form.emplace_back("Content-Type", "text/plain"); // what a form on another page could send
    CHECK(live.post("/api/live/marker", R"({"text":"x"})", form).status == 415);
    CHECK(live.actions().size() == 13);
}

TEST_CASE("wrong keys are refused and slowed down") {
    const LiveServer live;
    for (int i = 0; i < 5; ++i) CHECK(live.post("/api/session", R"({"key":"wrong"})").status == 403);
    const HttpReply reply = live.post("/api/session", R"({"key":"wrong"})");
    CHECK(reply.status == 429);
    CHECK(reply.field("Set-Cookie").empty());
    CHECK(live.post("/api/session", "{}").status == 400);
    CHECK(http_request(live.port(), "PUT", "/api/session").status == 405);
}

TEST_CASE("who logs out is a viewer again, here and in the browser") {
    const LiveServer live;
    const Fields cookie = live.operator_cookie();
    const Fields other = live.operator_cookie();
    const HttpReply reply = http_request(live.port(), "DELETE", "/api/session", cookie);
    CHECK(reply.status == 200);
    CHECK(reply.json().at("role") == "viewer");
    CHECK(reply.field("Set-Cookie").find("Max-Age=0") != std::string::npos);
    CHECK(live.get("/api/session", cookie).json().at("role") == "viewer");
    CHECK(live.post("/api/live/note", R"({"text":"x"})", cookie).status == 403);
    CHECK(live.get("/api/session", other).json().at("role") == "operator");
    CHECK(http_request(live.port(), "DELETE", "/api/session").status == 200); // nothing to end
}

TEST_CASE("what others can reach is told by what was bound") {
    const auto listening_on = [](const char* address) {
        const LiveServer live([&](ServeSettings& settings) { settings.listen_address = address; });
        return live.server->is_loopback_only();
    };
    CHECK(listening_on("127.0.0.1"));
    CHECK(listening_on("127.1.2.3"));
    CHECK_FALSE(listening_on("0.0.0.0"));
}

TEST_CASE("a recording is listed, described, drawn and read") {
    LiveServer live;
    const std::string id = record_flight(live.folder.path());
    const std::string base = "/api/recordings/" + id;

    // The live tape has the same id here (same start, same vehicle), so a server without it reads the file.
    const LiveServer replay([&](ServeSettings& settings) { settings.recordings = live.folder.path(); }, false);
    CHECK(live.get("/api/recordings").json().at("live") == kTapeId);
    const json list = replay.get("/api/recordings").json();
    CHECK(list.at("live").is_null());
    REQUIRE(list.at("recordings").size() == 1);
    CHECK(list.at("recordings")[0].at("id") == id);
    CHECK(list.at("recordings")[0].at("name") == "Test flight");
    CHECK(list.at("recordings")[0].at("closed") == true);
    CHECK(list.at("recordings")[0].at("damage") == "");

    const json description = replay.get(base + "/description").json();
    const json hello = json::parse(golden_text("hello.json"));
    CHECK(json::diff(description.at("tables"), hello.at("description").at("tables")) == json::array());
    CHECK(description.at("site").at("name") == "Test site");
    CHECK(description.at("recording").at("t_end_s") == 10.0);

    const std::string plain =
        replay.get(base + "/series?table=1&columns=static_pressure&from_s=1&to_s=1.2&points=100").body;
    REQUIRE(plain.size() == 16 + 5 * 16);
    CHECK(plain.substr(0, 4) == "TSS1");
    CHECK(u32_at(plain, 8) == 5);
    CHECK(u32_at(plain, 12) == 0);
    CHECK(number_at(plain, 16) == 1.0);
    CHECK(number_at(plain, 16 + 40) == 87850 - 25);

    const std::string whole = replay.get(base + "/series?table=0&columns=accel_body_x&points=50").body;
    const std::uint32_t rows = u32_at(whole, 8);
    CHECK(rows <= 50);
    CHECK(rows > 10);
    CHECK((u32_at(whole, 12) & 1) == 1);
    REQUIRE(whole.size() == 16 + 8 * rows * 4);
    CHECK(number_at(whole, 16 + 8 * rows) == 0.0);            // least of the first bin
    CHECK(number_at(whole, 16 + 8 * (3 * rows - 1)) == 10.0); // greatest of the last bin

    const json latest = replay.get(base + "/latest?t_s=5.001").json().at("latest");
    CHECK(latest[0] == json{{"table", 0}, {"t_s", 5.0}, {"values", {5.0, 1.0}}});
    const json events = replay.get(base + "/events").json().at("events");
    REQUIRE(events.size() == 1);
    json golden_event = json::parse(golden_text("event.json"));
    golden_event.erase("type");
    CHECK(events[0] == golden_event); // the same id as on the live stream
    CHECK(replay.get(base + "/events?from_s=4").json().at("events").empty());
    CHECK(replay.get(base + "/frames?limit=5").json().at("frames").empty());
    CHECK(replay.get(base + "/frames?newest=bad&link=radio").json().at("frames").empty());

    const HttpReply file = replay.get(base + "/download");
    CHECK(file.status == 200);
    CHECK(file.body.substr(0, 15) == "SQLite format 3");
    CHECK(file.field("Content-Disposition").find("attachment; filename=\"" + id) == 0);
    const auto copy = live.folder.path() / "copy.sqlite";
    std::ofstream(copy, std::ios::binary) << file.body;
    CHECK(RecordingReader::open(copy)->info().t_end_ns == kTapeStartNs + 10'000'000'000);
    std::filesystem::remove(copy);

    CHECK(replay.post(base + "/meta", R"({"name":"Renamed","notes":"calm"})", replay.operator_cookie()).status == 200);
    CHECK(replay.get(base + "/description").json().at("recording").at("name") == "Renamed");
}

TEST_CASE("questions about recordings that cannot be answered say why") {
    LiveServer live({}, false);
    const std::string id = record_flight(live.folder.path());
    struct Case {
        std::string target;
        unsigned status;
    };
    const std::string base = "/api/recordings/" + id;
    const Case cases[] = {
        {"/api/recordings?x=1", 400},
        {"/api/recordings/none/latest", 404},
        {"/api/recordings/..%2F..%2Fetc%2Fpasswd/latest", 404},
        {"/api/recordings/live/latest", 404},
        {base, 404},
        {base + "/nothing", 404},
        {base + "/series", 400},
        {base + "/series?table=99", 400},
        {base + "/series?table=-1", 400},
        {base + "/series?table=1&columns=altitude_m", 400},
        {base + "/series?table=1&columns=note", 400},
        {base + "/series?table=1&points=15", 400},
        {base + "/series?table=1&points=8193", 400},
        {base + "/series?table=1&from_s=nan", 400},
        {base + "/series?table=1&from_s=2&to_s=1", 400},
        {base + "/latest?t=1", 400},
        {base + "/frames?limit=501", 400},
        {base + "/frames?link=spare", 400},
        {base + "/frames?newest=good", 400},
        {base + "/frames?newest=worst&link=radio", 400},
        {base + "/frames?newest=bad&link=radio&limit=1", 400},
        {base + "/events?from_s=x", 400},
        {"/api", 404},
        {"/api/stream", 400},
        {"/api/recordings/%zz/latest", 400},
    };
    for (const Case& c : cases) {
        INFO(c.target);
        const HttpReply reply = live.get(c.target);
        CHECK(reply.status == c.status);
        CHECK(reply.field("Content-Type") == "application/json");
        CHECK_FALSE(reply.json().at("error").get<std::string>().empty());
    }
    CHECK(http_request(live.port(), "POST", base + "/series").status == 405);
}

TEST_CASE("a taken port and a wrong address are explained") {
    const LiveServer live;
    ServeSettings settings = serve_settings(live.folder.path());
    settings.port = live.port();
    const auto started = [&] {
        Server second(settings, {}, {});
        return second.start();
    };
    CHECK(started().error().message.find("choose another address or port") != std::string::npos);
    settings.listen_address = "localhost";
    CHECK(started().error().message.find("use for example 127.0.0.1") != std::string::npos);
    settings.listen_address = "127.0.0.1";
    settings.operator_key = "short";
    CHECK_FALSE(started());
    CHECK(live.server->addresses() ==
          std::vector<std::string>{"http://127.0.0.1:" + std::to_string(live.port()) + "/"});
}
