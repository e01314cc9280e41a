// How long a packet takes from the serial line to a browser's WebSocket, while nobody does anything else and while a
// debrief works at all it can on the same station: an earlier flight identified, shadowed, smoothed, compared and
// exported, again and again. In turn, in one run. Prints Markdown; what is outside a limit is bold.
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <nlohmann/json.hpp>
#include <unistd.h>

#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/server_process.hpp"
#include "tools/benchmarks/visitors.hpp"
#include "tools/trials/cells.hpp"
#include "tools/trials/debrief/debrief_demand.hpp"

namespace {

using namespace turnstone;
using namespace std::chrono_literals;
using nlohmann::json;
using trials::Bounded;
using trials::Sheet;
using trials::text;
namespace http = bench::beast::http;

constexpr double kDelayMost_ms = 50; ///< 99 of 100 packets
constexpr int kRounds = 3;

void run(const std::string& command) {
    if (std::system((command + " > /dev/null 2>&1").c_str()) != 0) throw std::runtime_error("failed: " + command);
}

/// The recording of a logging flight, made in a folder of its own.
std::filesystem::path record_flight(const std::filesystem::path& folder) {
    const std::string files =
        " --vehicle " + bench::source("tools/demo/dunlin") + " --site " + bench::source("tools/demo/site.json");
    const std::string heard = (folder / "heard.bin").string(), made = (folder / "made").string();
    run(bench::program("simulate") + files + " --steer log --seed 21 --impairment mild --speed max --to file:" + heard);
    run(bench::program("turnstone") + " serve" + files + " --link 'file:" + heard +
        "?name=capture' --exit-at-end --port 0 --recordings " + made);
    for (const auto& entry : std::filesystem::directory_iterator(made))
        if (entry.path().extension() == ".sqlite") return entry.path();
    throw std::runtime_error("no recording was made");
}

std::string ask(std::uint16_t port, http::verb method, const std::string& target, const std::string& body = "") {
    bench::asio::io_context context;
    bench::tcp::socket socket(context);
    socket.connect({bench::asio::ip::address_v4::loopback(), port});
    http::request<http::string_body> request(method, target, 11, body);
    request.set(http::field::host, "127.0.0.1:" + std::to_string(port));
    request.set(http::field::content_type, "application/json");
    request.prepare_payload();
    http::write(socket, request);
    bench::beast::flat_buffer buffer;
    http::response_parser<http::string_body> parser;
    parser.body_limit(256u << 20);
    http::read(socket, buffer, parser);
    return parser.get().body();
}

/// Threads that always have another job or another file to ask for.
class Debrief {
  public:
    Debrief(std::uint16_t port, const std::filesystem::path& recording, const std::filesystem::path& recordings)
        : port_(port) {
        std::filesystem::copy(recording, recordings / recording.filename());
        for (int k = 0; k < 600 && flight_.empty(); ++k, std::this_thread::sleep_for(100ms))
            for (const json& each : json(json::parse(ask(port, http::verb::get, "/api/flights")).at("flights")))
                flight_ = each.at("id");
        if (flight_.empty()) throw std::runtime_error("the flight does not come into the log book");
    }
    ~Debrief() { end(); }
    Debrief(const Debrief&) = delete;
    Debrief& operator=(const Debrief&) = delete;

    void begin() {
        std::ifstream in(bench::source("tests/fuzz/corpus/law/roll_damper.json"));
        const json law = json::parse(in);
        for (const json& job : {json{{"job", "response"}}, json{{"job", "shadow"}, {"law", law}, {"seeds", 100}},
                                json{{"job", "smooth"}}, json{{"job", "performance"}}, json{{"job", "compare"}}})
            threads_.emplace_back([this, job] {
                while (!over_) work(job);
            });
        threads_.emplace_back([this] {
            const std::vector<std::string> formats{"csv", "jsonl", "npz", "hdf5"};
            for (std::size_t k = 0; !over_; ++k, ++exports_)
                ask(port_, http::verb::get, "/api/flights/" + flight_ + "/export?format=" + formats[k % 4]);
        });
    }
    void end() {
        over_ = true;
        for (std::thread& thread : threads_) thread.join();
        threads_.clear();
    }
    [[nodiscard]] int jobs() const { return jobs_; }
    [[nodiscard]] int exports() const { return exports_; }

  private:
    void work(json job) {
        job.update(job.at("job") == "compare" ? json{{"flights", {flight_}}, {"align", "liftoff"}, {"prediction", true}}
                                              : json{{"flight", flight_}});
        const std::string id = json::parse(ask(port_, http::verb::post, "/api/jobs", job.dump())).value("id", "");
        for (; !id.empty() && !over_; std::this_thread::sleep_for(50ms)) {
            const json now = json::parse(ask(port_, http::verb::get, "/api/jobs/" + id));
            if (now.at("state") == "failed") throw std::runtime_error(now.at("error"));
            if (now.at("state") != "done") continue;
            ++jobs_;
            return;
        }
        std::this_thread::sleep_for(50ms); // no room for it
    }

    std::uint16_t port_;
    std::string flight_;
    std::atomic<bool> over_ = false;
    std::atomic<int> jobs_ = 0, exports_ = 0;
    std::vector<std::thread> threads_;
};

struct Delays {
    std::vector<double> ms;
    int jobs = 0, exports = 0;
};

void measure(const std::filesystem::path& recording, bool beside, Delays& into) {
    const bench::Terminal terminal;
    const bench::ServerProcess server(terminal.path());
    Debrief debrief(server.port(), recording, server.recordings());
    bench::asio::io_context context;
    const auto stream = bench::connect(context, server.port(), "/api/stream");
    bench::MarkReader marks(*stream);
    if (beside) debrief.begin();
    const auto found = bench::latencies_ms(terminal, 20ms, [&] { return marks.next(); });
    debrief.end();
    into.ms.insert(into.ms.end(), found.begin(), found.end());
    into.jobs += debrief.jobs();
    into.exports += debrief.exports();
}

} // namespace

int main() {
    const auto folder = std::filesystem::temp_directory_path() / ("turnstone-beside-" + std::to_string(::getpid()));
    std::filesystem::create_directory(folder);
    bool good = false;
    try {
        const auto recording = record_flight(folder);
        Delays alone, beside;
        for (int k = 0; k < kRounds; ++k) {
            measure(recording, false, alone);
            measure(recording, true, beside);
        }
        std::printf(
            "\n## Beside reception\n\nFrom the serial line to a WebSocket client, 50 packets a second, %zu each "
            "way; beside them %d jobs and %d exports ended.\n",
            alone.ms.size(), beside.jobs, beside.exports);
        Sheet sheet("a packet's delay, ms", {"median", "99 of 100", "worst", "at most"});
        good = beside.jobs > 0;
        for (const auto& [name, delays] :
             {std::pair{"nothing else to do", &alone}, {"while a debrief works", &beside}}) {
            const Bounded late{bench::quantile(delays->ms, 0.99), 0, kDelayMost_ms};
            sheet.row(name, {text("%.2f", bench::quantile(delays->ms, 0.5)), late.text("%.2f"),
                             text("%.2f", bench::quantile(delays->ms, 1)), text("%.0f", kDelayMost_ms)});
            good = good && late.met();
        }
        sheet.print();
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_beside: %s\n", error.what());
    }
    std::filesystem::remove_all(folder);
    return good ? 0 : 1;
}
