// Three stations and two mirrors that meet at a broker over bad lines, with many viewers on the mirrors and an outage
// of the broker: every byte of every radio has to be in the station's recording and in those of the mirrors, in order.
// Each is a process in a network namespace of its own, which only root may make.
#include <algorithm>
#include <array>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <optional>
#include <regex>
#include <stdexcept>
#include <string>
#include <vector>

#include <sqlite3.h>
#include <sys/resource.h>

#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/server_process.hpp"
#include "tools/benchmarks/sites/crowd.hpp"
#include "tools/benchmarks/sites/network.hpp"

namespace {

using namespace turnstone::bench;
using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;
namespace fs = std::filesystem;

constexpr std::size_t kStations = 3, kMirrors = 2;
constexpr std::array<const char*, kStations> kNames{"pad", "hill", "lake"};
constexpr std::array<const char*, kMirrors> kMirrorNames{"near", "far"};
constexpr LineQuality kBad{300, 0.05}, kGood{5, 0};
constexpr const char* kLosses = "0.02,0.1,0.2"; // of packets between the rocket and each radio
constexpr double kOnRail_s = 110, kWindow_s = 30;

std::string contents(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

double seconds_since(Clock::time_point then) {
    return std::chrono::duration<double>(Clock::now() - then).count();
}

template <class Holds>
bool within(std::chrono::seconds limit, Holds&& holds) {
    for (const auto until = Clock::now() + limit; !holds(); std::this_thread::sleep_for(200ms))
        if (Clock::now() > until) return false;
    return true;
}

/// A recording that may still be written.
class Recording {
  public:
    explicit Recording(const fs::path& folder) {
        for (const auto& entry : fs::directory_iterator(folder))
            if (entry.path().extension() == ".sqlite") path_ = entry.path();
        if (path_.empty() || sqlite3_open_v2(path_.c_str(), &database_, SQLITE_OPEN_READONLY, nullptr) != SQLITE_OK)
            throw std::runtime_error("no recording in " + folder.string());
        sqlite3_busy_timeout(database_, 5000);
    }
    ~Recording() { sqlite3_close(database_); }
    Recording(const Recording&) = delete;
    Recording& operator=(const Recording&) = delete;

    template <class OnRow>
    void query(const std::string& sql, OnRow&& on_row) const {
        sqlite3_stmt* statement = nullptr;
        if (sqlite3_prepare_v2(database_, sql.c_str(), -1, &statement, nullptr) != SQLITE_OK)
            throw std::runtime_error(sql + ": " + sqlite3_errmsg(database_));
        while (sqlite3_step(statement) == SQLITE_ROW) on_row(statement);
        sqlite3_finalize(statement);
    }
    /// What a link brought, in order.
    [[nodiscard]] std::string bytes(const std::string& link) const {
        std::string out;
        query("SELECT bytes FROM chunk JOIN link ON link.id = chunk.link WHERE link.name = '" + link +
                  "' AND carried = 0 ORDER BY input",
              [&](sqlite3_stmt* row) {
                  out.append(static_cast<const char*>(sqlite3_column_blob(row, 0)),
                             static_cast<std::size_t>(sqlite3_column_bytes(row, 0)));
              });
        return out;
    }
    [[nodiscard]] std::size_t size(const std::string& link) const {
        std::size_t out = 0;
        query(
            "SELECT coalesce(sum(length(bytes)), 0) FROM chunk JOIN link ON link.id = chunk.link WHERE link.name = '" +
                link + "'",
            [&](sqlite3_stmt* row) { out = static_cast<std::size_t>(sqlite3_column_int64(row, 0)); });
        return out;
    }
    /// Events that this flight does not have: what the mirrors make of it has to be what happened.
    [[nodiscard]] int false_reboots() const {
        int out = 0;
        query("SELECT count(*) FROM event WHERE event IN ('reboot', 'clock_jump')",
              [&](sqlite3_stmt* row) { out = sqlite3_column_int(row, 0); });
        return out;
    }
    struct Lag {
        double t_s, lag_s;
    };
    /// How long ago the station had received what came last, twice a second. All clocks here are one: what the mirror's
    /// seems ahead of the station's by is what the quickest message takes.
    [[nodiscard]] std::vector<Lag> lags(const std::string& link) const {
        std::vector<Lag> out;
        query("SELECT t_s, relay_s + clock_lead_s FROM link_" + link + " WHERE relay_s IS NOT NULL ORDER BY t_s",
              [&](sqlite3_stmt* row) {
                  out.push_back({sqlite3_column_double(row, 0), sqlite3_column_double(row, 1)});
              });
        return out;
    }

  private:
    fs::path path_;
    sqlite3* database_ = nullptr;
};

/// `turnstone serve` at a place.
class Server {
  public:
    Server(const Place& place, const fs::path& folder, const std::string& name, std::vector<std::string> more)
        : recordings_(folder / name), log_(folder / (name + ".log")) {
        std::vector<std::string> words{program("turnstone"),
                                       "serve",
                                       "--vehicle",
                                       source("tools/demo/sanderling"),
                                       "--site",
                                       source("tools/demo/site.json"),
                                       "--port",
                                       "0",
                                       "--recordings",
                                       recordings_.string()};
        words.insert(words.end(), more.begin(), more.end());
        process_.emplace(place.network(), words, log_);
        const std::regex listens("http://127\\.0\\.0\\.1:(\\d+)/");
        std::smatch found;
        std::string text;
        if (!within(20s, [&] { return text = contents(log_), std::regex_search(text, found, listens); }))
            throw std::runtime_error(name + " did not come up: " + text);
        port_ = static_cast<std::uint16_t>(std::stoi(found[1]));
        start_ = Clock::now();
    }
    [[nodiscard]] Recording recording() const { return Recording(recordings_); }
    [[nodiscard]] std::uint16_t port() const { return port_; }
    [[nodiscard]] double cpu_s() const { return cpu_s_of(process_->id()); }
    [[nodiscard]] double resident_mb() const { return resident_mb_of(process_->id()); }
    [[nodiscard]] bool says(const std::string& text) const { return contents(log_).find(text) != std::string::npos; }
    /// Of its recording.
    [[nodiscard]] double now_s() const { return seconds_since(start_); }
    [[nodiscard]] bool stop() {
        process_->signal(SIGINT);
        return process_->has_ended(60s);
    }

  private:
    fs::path recordings_, log_;
    std::optional<Program> process_;
    std::uint16_t port_ = 0;
    Clock::time_point start_;
};

/// Debian's, at a place.
class Broker {
  public:
    Broker(const Place& place, const fs::path& folder) : place_(place), folder_(folder) {
        std::ofstream(folder / "broker.conf") << "listener 1883 0.0.0.0\nallow_anonymous true\nuser root\n"
                                              << "max_queued_messages 0\n";
        start();
    }
    void start() {
        process_.emplace(place_.network(),
                         std::vector<std::string>{"/usr/sbin/mosquitto", "-c", (folder_ / "broker.conf").string()},
                         folder_ / "broker.log");
    }
    void kill() { process_.reset(); }

  private:
    const Place& place_;
    fs::path folder_;
    std::optional<Program> process_;
};

struct Window {
    double cpu_percent, resident_mb;
    CrowdFigures crowd; ///< the differences; connected: at the end
};

class Series {
  public:
    Series(std::size_t viewers, int outage_s)
        : viewers_(viewers), outage_s_(outage_s),
          folder_(fs::temp_directory_path() / ("turnstone-sites-" + std::to_string(::getpid()))) {
        fs::create_directories(folder_);
        for (std::size_t k = 0; k < kStations; ++k)
            lines_[k].emplace(broker_place_, stations_at_[k], static_cast<int>(k + 1), kBad);
        for (std::size_t k = 0; k < kMirrors; ++k)
            lines_[kStations + k].emplace(broker_place_, mirrors_at_[k], static_cast<int>(kStations + k + 1),
                                          k == 0 ? kGood : kBad);
    }
    ~Series() {
        if (std::getenv("TURNSTONE_SITES_KEEP") != nullptr) return;
        std::error_code ignored; // leftovers in the temporary directory harm nothing
        fs::remove_all(folder_, ignored);
    }
    Series(const Series&) = delete;
    Series& operator=(const Series&) = delete;

    /// False: something is not accounted for.
    bool run();

  private:
    [[nodiscard]] std::vector<std::string> simulation(bool to_files) const;
    [[nodiscard]] std::array<Window, kMirrors> watch();
    [[nodiscard]] bool account();
    void report_lag(const Server& mirror, std::size_t which) const;
    fs::path radio(std::size_t station) const { return folder_ / (std::string(kNames[station]) + ".radio"); }
    fs::path sent(std::size_t station) const { return folder_ / (std::string(kNames[station]) + ".sent"); }

    std::size_t viewers_;
    int outage_s_;
    fs::path folder_;
    Place broker_place_;
    std::array<Place, kStations> stations_at_;
    std::array<Place, kMirrors> mirrors_at_;
    std::array<std::optional<Line>, kStations + kMirrors> lines_;
    std::array<std::unique_ptr<Server>, kStations> stations_;
    std::array<std::unique_ptr<Server>, kMirrors> mirrors_;
    std::array<std::unique_ptr<Crowd>, kMirrors> crowds_;
    std::array<double, kMirrors> outage_from_s_{}, outage_to_s_{};
};

std::vector<std::string> Series::simulation(bool to_files) const {
    std::vector<std::string> words{program("simulate"),
                                   "--vehicle",
                                   source("tools/demo/sanderling"),
                                   "--site",
                                   source("tools/demo/site.json"),
                                   "--seed",
                                   "83",
                                   "--impairment",
                                   "mild",
                                   "--loss",
                                   kLosses,
                                   "--before-ignition-s",
                                   std::to_string(kOnRail_s),
                                   "--after-touchdown-s",
                                   std::to_string(outage_s_ + 20),
                                   "--wait-s",
                                   "60",
                                   "--speed",
                                   to_files ? "max" : "1"};
    for (std::size_t k = 0; k < kStations; ++k) {
        words.emplace_back("--to");
        words.push_back(to_files ? "file:" + sent(k).string() : "pty:" + radio(k).string());
    }
    return words;
}

std::array<Window, kMirrors> Series::watch() {
    std::array<Window, kMirrors> out{};
    std::array<CrowdFigures, kMirrors> before{};
    for (std::size_t k = 0; k < kMirrors; ++k) {
        if (crowds_[k]) before[k] = crowds_[k]->figures(), (void)crowds_[k]->take_ages();
        out[k].cpu_percent = mirrors_[k]->cpu_s();
    }
    std::this_thread::sleep_for(std::chrono::duration<double>(kWindow_s));
    for (std::size_t k = 0; k < kMirrors; ++k) {
        out[k].cpu_percent = (mirrors_[k]->cpu_s() - out[k].cpu_percent) / kWindow_s * 100;
        out[k].resident_mb = mirrors_[k]->resident_mb();
        if (!crowds_[k]) continue;
        out[k].crowd = crowds_[k]->figures();
        out[k].crowd.bytes -= before[k].bytes;
        out[k].crowd.messages -= before[k].messages;
        out[k].crowd.gaps -= before[k].gaps;
    }
    return out;
}

void Series::report_lag(const Server& mirror, std::size_t which) const {
    std::vector<double> before;
    double caught_up_s = 0, longest_s = 0;
    for (const char* name : kNames)
        for (const auto& [t_s, lag_s] : mirror.recording().lags(name)) {
            if (t_s > 10 && t_s < outage_from_s_[which]) before.push_back(lag_s);
            if (t_s > outage_to_s_[which] && lag_s > 5) caught_up_s = std::max(caught_up_s, t_s - outage_to_s_[which]);
            longest_s = std::max(longest_s, lag_s);
        }
    std::printf(
        "  %-8s lag p50 %.2f s  p99 %.2f s before the outage; longest %.1f s; within 5 s again %.1f s after it\n",
        kMirrorNames[which], quantile(before, 0.5), quantile(before, 0.99), longest_s, caught_up_s);
}

bool Series::account() {
    bool whole = true;
    std::printf("  %-8s %12s %12s %12s %12s\n", "", "radio sent", "station", kMirrorNames[0], kMirrorNames[1]);
    for (std::size_t k = 0; k < kStations; ++k) {
        const std::string bytes = contents(sent(k)), here = stations_[k]->recording().bytes("radio");
        std::array<std::string, kMirrors> there;
        for (std::size_t m = 0; m < kMirrors; ++m) there[m] = mirrors_[m]->recording().bytes(kNames[k]);
        const bool same = here == bytes && there[0] == bytes && there[1] == bytes;
        std::printf("  %-8s %12zu %12zu %12zu %12zu  %s\n", kNames[k], bytes.size(), here.size(), there[0].size(),
                    there[1].size(), same ? "the same bytes" : "NOT the same");
        whole = whole && same && !bytes.empty();
    }
    for (std::size_t m = 0; m < kMirrors; ++m) {
        const int reboots = mirrors_[m]->recording().false_reboots();
        std::printf("  %-8s %d reboots and clock jumps found (limit 0)\n", kMirrorNames[m], reboots);
        whole = whole && reboots == 0;
    }
    return whole;
}

bool Series::run() {
    Program prepare(-1, simulation(true), folder_ / "prepare.log");
    if (!prepare.has_ended(120s)) throw std::runtime_error("the flight was not simulated");
    Broker broker(broker_place_, folder_);
    Program flight(-1, simulation(false), folder_ / "simulate.log");
    if (!within(10s, [&] { return fs::exists(radio(kStations - 1)); }))
        throw std::runtime_error("the radios did not come up: " + contents(folder_ / "simulate.log"));
    const auto broker_at = [](std::size_t line) { return "mqtt://10.83." + std::to_string(line) + ".1:1883"; };
    for (std::size_t m = 0; m < kMirrors; ++m) {
        std::vector<std::string> words{"--broker", broker_at(kStations + m + 1), "--viewers-max", "10000"};
        for (const char* name : kNames) {
            words.emplace_back("--link");
            words.push_back("broker:" + std::string(name) + "/radio?name=" + name);
        }
        mirrors_[m] = std::make_unique<Server>(mirrors_at_[m], folder_, kMirrorNames[m], words);
    }
    for (const auto& mirror : mirrors_) // what is published before they listen is not theirs
        for (const char* name : kNames)
            if (!within(30s, [&] { return mirror->says("Link " + std::string(name) + ": open\n"); }))
                throw std::runtime_error("a mirror does not reach the broker");
    for (std::size_t k = 0; k < kStations; ++k)
        stations_[k] =
            std::make_unique<Server>(stations_at_[k], folder_, kNames[k],
                                     std::vector<std::string>{"--broker", broker_at(k + 1), "--publish-as", kNames[k],
                                                              "--link", "serial:" + radio(k).string() + "?name=radio"});
    const auto all_are_heard = [&] {
        return std::ranges::all_of(mirrors_, [](const auto& mirror) {
            const Recording recording = mirror->recording();
            return std::ranges::all_of(kNames, [&](const char* name) { return recording.size(name) > 0; });
        });
    };
    if (!within(60s, all_are_heard)) throw std::runtime_error("the mirrors hear nothing");
    const auto alone = watch();
    for (std::size_t m = 0; m < kMirrors; ++m)
        crowds_[m] = std::make_unique<Crowd>(mirrors_at_[m], mirrors_[m]->port(), viewers_ / kMirrors, 10s);
    std::this_thread::sleep_for(13s);
    const auto watched = watch();
    for (std::size_t m = 0; m < kMirrors; ++m) {
        const CrowdFigures& crowd = watched[m].crowd;
        const auto count = static_cast<double>(crowd.connected);
        const std::vector<double> ages = crowds_[m]->take_ages();
        std::printf(
            "  %-8s %zu viewers (%zu refused, %zu lost): %.1f %% of a core and %.0f MB without, %.1f %% and %.0f MB "
            "with\n",
            kMirrorNames[m], crowd.connected, crowd.refused, crowd.lost, alone[m].cpu_percent, alone[m].resident_mb,
            watched[m].cpu_percent, watched[m].resident_mb);
        std::printf(
            "           a viewer: %.4f %% of a core, %.1f kB, %.2f kB/s in %.1f messages/s, %llu gaps in all; from "
            "row to viewer p50 %.3f s  p99 %.3f s\n",
            (watched[m].cpu_percent - alone[m].cpu_percent) / count,
            (watched[m].resident_mb - alone[m].resident_mb) * 1024 / count,
            static_cast<double>(crowd.bytes) / 1000 / kWindow_s / count,
            static_cast<double>(crowd.messages) / kWindow_s / count, static_cast<unsigned long long>(crowd.gaps),
            quantile(ages, 0.5), quantile(ages, 0.99));
    }
    for (std::size_t m = 0; m < kMirrors; ++m) outage_from_s_[m] = mirrors_[m]->now_s();
    broker.kill();
    std::this_thread::sleep_for(std::chrono::seconds(outage_s_));
    broker.start();
    for (std::size_t m = 0; m < kMirrors; ++m) outage_to_s_[m] = mirrors_[m]->now_s();
    const auto flight_ends = std::chrono::seconds(static_cast<int>(kOnRail_s) + 120 + outage_s_ + 60);
    if (!flight.has_ended(flight_ends)) throw std::runtime_error("the flight did not end");
    const bool all_came = within(std::chrono::seconds(120 + outage_s_), [&] {
        for (const auto& mirror : mirrors_) {
            const Recording recording = mirror->recording();
            for (std::size_t k = 0; k < kStations; ++k)
                if (recording.size(kNames[k]) < fs::file_size(sent(k))) return false;
        }
        return true;
    });
    if (!all_came) std::printf("  something has not come\n");
    std::size_t left = 0;
    for (auto& crowd : crowds_) left += crowd->figures().connected;
    std::printf("  viewers at the end: %zu of %zu\n", left, viewers_);
    for (auto& crowd : crowds_) crowd.reset();
    bool ended = true;
    for (auto& station : stations_) ended = station->stop() && ended;
    for (auto& mirror : mirrors_) ended = mirror->stop() && ended;
    for (std::size_t m = 0; m < kMirrors; ++m) report_lag(*mirrors_[m], m);
    return account() && all_came && ended && left == viewers_;
}

/// A whole number from the environment.
int number(const char* name, int otherwise) {
    const char* text = std::getenv(name);
    return text == nullptr ? otherwise : std::stoi(text);
}

} // namespace

int main() {
    try {
        std::setvbuf(stdout, nullptr, _IOLBF, 0); // for who waits
        rlimit files{};
        ::getrlimit(RLIMIT_NOFILE, &files);
        files.rlim_cur = files.rlim_max;
        ::setrlimit(RLIMIT_NOFILE, &files);
        const int outage_s = number("TURNSTONE_SITES_OUTAGE", 20), viewers = number("TURNSTONE_SITES_VIEWERS", 2000);
        std::printf(
            "sites: 3 stations and the mirror \"far\" on lines of %d ms and %.0f %% loss each way, the mirror \"near\" "
            "on one of %d ms; the broker is killed and away for %d s\n",
            kBad.delay_ms, kBad.loss * 100, kGood.delay_ms, outage_s);
        Series series(static_cast<std::size_t>(viewers), outage_s);
        return series.run() ? 0 : 1;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_sites: %s\n", error.what());
        return 1;
    }
}
