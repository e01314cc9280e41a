#include "server/publish/publisher.hpp"

#include <algorithm>
#include <condition_variable>
#include <ctime>
#include <map>
#include <mutex>
#include <optional>
#include <utility>

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <spdlog/spdlog.h>

#include "server/broker/client.hpp"
#include "server/link/link.hpp"
#include "server/publish/publish_queue.hpp"
#include "shared/time.hpp"
#include "shared/uri.hpp"

namespace turnstone {

namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

/// Messages that the broker has not acknowledged: enough for a link by satellite.
constexpr std::size_t kUnderWayMax = 40;
constexpr int kTurn_ms = 20;
constexpr auto kSavePeriod = 1s;
constexpr auto kRetryLeast = 250ms, kRetryMost = 5000ms;
/// After a broker came back others come back too, and what came before them is lost to them: it is sent again.
constexpr auto kAllAreBackAfter = 10s;
/// Away for so long is said.
constexpr auto kAwayTold = 3s;

std::span<const std::byte> bytes_of(const std::string& text) {
    return std::as_bytes(std::span(text));
}

std::string time_text(std::int64_t t_ns) {
    if (t_ns == 0) return "the start";
    return fmt::format("{:%H:%M:%S} UTC", fmt::gmtime(static_cast<std::time_t>(t_ns / kNsPerS)));
}

} // namespace

std::string station_json(const PublishSettings& settings) {
    using nlohmann::json;
    json links = json::array();
    for (std::size_t k = 0; k < settings.setup->links.size(); ++k) {
        const LinkSetup& link = settings.setup->links[k];
        if (uri_scheme(link.uri) == "broker") continue;
        json one{{"name", link.name}, {"vehicle", settings.setup->vehicles[link.vehicle].dictionary.vehicle}};
        std::string options;
        for (const auto& [key, value] : settings.uris[k].framing)
            options += (options.empty() ? "" : "&") + key + "=" + value;
        if (!options.empty()) one["options"] = options;
        const auto uri = parse_uri(link.uri);
        if (const auto place = uri && uri->query ? query_option(*uri->query, "place") : std::nullopt)
            one["place"] = *place;
        links.push_back(std::move(one));
    }
    json out;
    out["format"] = 1;
    out["station"] = settings.station;
    out["program"] = TURNSTONE_VERSION;
    out["links"] = std::move(links);
    return out.dump();
}

struct Publisher::Shared {
    Shared(PublishSettings settings_in, std::function<void(PublishReport)> report_in)
        : settings(std::move(settings_in)), report(std::move(report_in)), queue(settings.recordings, drawn_number()) {}

    const PublishSettings settings;
    const std::function<void(PublishReport)> report;

    std::mutex mutex; // of what follows
    std::condition_variable changed;
    PublishQueue queue;
    std::optional<Clock::time_point> stop_at; ///< it is to end by then
    bool over = false;                        ///< nobody is told anything any more
    bool finished = false;                    ///< the thread is at its end

    // Of the thread.
    std::optional<Clock::time_point> away_since = Clock::now(); ///< from the broker
    std::string told;                                           ///< the fault that was reported last
    bool told_away = false;                                     ///< it is that the broker is away
    std::string told_left_out;

    void run();
    Result<void> session();
    void tell(const std::string& fault);
    [[nodiscard]] std::string left_out();
    void save();
    [[nodiscard]] bool is_to_stop() {
        const std::lock_guard lock(mutex);
        return stop_at.has_value();
    }
    [[nodiscard]] bool is_overdue() {
        const std::lock_guard lock(mutex);
        return stop_at && Clock::now() >= *stop_at;
    }
};

void Publisher::Shared::tell(const std::string& fault) {
    if (fault == told) return;
    told = fault;
    told_away = false;
    if (fault.empty())
        spdlog::info("Publishing works");
    else
        spdlog::warn("Publishing: {}", fault);
    const std::lock_guard lock(mutex);
    if (!over) report(PublishReport{fault});
}

/// Empty: nothing.
std::string Publisher::Shared::left_out() {
    const std::lock_guard lock(mutex);
    std::string out;
    if (queue.bytes_left_out() > 0)
        out = fmt::format("{} bytes waited for more than six hours and are left out", queue.bytes_left_out());
    if (queue.recordings_gone() > 0)
        out += fmt::format("{}{} recordings that were not published whole are gone", out.empty() ? "" : "; ",
                           queue.recordings_gone());
    return out;
}

void Publisher::Shared::save() {
    const std::lock_guard lock(mutex);
    if (const auto saved = queue.save(); !saved) spdlog::warn("Publishing: {}", saved.error().message);
}

Result<void> Publisher::Shared::session() {
    bool connected = false, described = false;
    std::string refused;
    std::map<int, std::uint64_t> parcel_of;       // by message
    std::map<std::uint64_t, std::size_t> open_of; // messages, by parcel
    BrokerCallbacks callbacks;
    callbacks.on_connected = [&] { connected = true; };
    callbacks.on_acknowledged = [&](int message, const std::string& why) {
        if (!why.empty()) refused = why;
        const auto known = parcel_of.find(message);
        if (known == parcel_of.end() || !why.empty()) return;
        const std::uint64_t parcel = known->second;
        parcel_of.erase(known);
        if (--open_of[parcel] > 0) return;
        open_of.erase(parcel);
        const std::lock_guard lock(mutex);
        queue.acknowledged(parcel);
    };
    BrokerClient client(settings.access, "turnstone-publish-" + settings.station, false, std::move(callbacks));
    if (auto up = client.connect(); !up) return up;
    const std::string topic = "turnstone/" + settings.station + "/";
    const auto describe = [&]() -> Result<void> {
        std::vector<std::pair<std::string, std::string>> texts{{"station", station_json(settings)},
                                                               {"site.json", settings.setup->site_json}};
        for (const VehicleSetup& vehicle : settings.setup->vehicles) {
            const std::string folder = "vehicle/" + vehicle.dictionary.vehicle + "/";
            texts.emplace_back(folder + "dictionary.json", vehicle.dictionary_json);
            texts.emplace_back(folder + "vehicle.json", vehicle.vehicle_json);
        }
        for (const auto& [name, text] : texts)
            if (const auto sent = client.publish(topic + name, bytes_of(text), true); !sent)
                return fail(sent.error().message);
        return {};
    };
    auto save_at = Clock::now();
    std::optional<Clock::time_point> again_at;
    while (!is_overdue()) {
        if (auto up = client.turn(kTurn_ms); !up) return up;
        if (!refused.empty()) return fail("it does not take what is published: " + refused);
        if (!connected) {
            if (is_to_stop()) return {};
            continue;
        }
        if (!std::exchange(described, true)) {
            if (auto said = describe(); !said) return said;
            again_at = Clock::now() + kAllAreBackAfter;
        }
        away_since.reset();
        if (again_at && Clock::now() >= *again_at) {
            again_at.reset();
            const std::lock_guard lock(mutex);
            queue.send_again(station_now_ns());
        }
        bool drained = false;
        while (!drained && parcel_of.size() < kUnderWayMax) {
            std::optional<PublishQueue::Parcel> parcel;
            {
                const std::lock_guard lock(mutex);
                parcel = queue.next(station_now_ns());
            }
            drained = !parcel;
            if (!parcel) break;
            for (const auto& [link, payload] : parcel->messages) {
                const auto sent = client.publish(topic + "link/" + link, payload, false);
                if (!sent) return fail(sent.error().message);
                parcel_of[*sent] = parcel->number;
                ++open_of[parcel->number];
            }
        }
        const bool done = drained && parcel_of.empty();
        if (done && is_to_stop()) break;
        if (Clock::now() < save_at) continue;
        save_at = Clock::now() + kSavePeriod;
        save();
        if (std::string lack = left_out(); lack != told_left_out) {
            told_left_out = std::move(lack);
            tell(told_left_out);
        } else if (drained) {
            tell("");
        }
    }
    client.disconnect();
    return {};
}

void Publisher::Shared::run() {
    auto delay = kRetryLeast;
    for (std::string why; !is_to_stop();) {
        try {
            const auto ended = session();
            if (!ended) why = ended.error().message;
        } catch (const std::exception& error) {
            why = error.what();
        }
        if (!away_since) {
            away_since = Clock::now();
            delay = kRetryLeast;
        }
        std::int64_t until_ns = 0;
        {
            const std::lock_guard lock(mutex);
            queue.send_again(station_now_ns());
            queue.let_go();
            until_ns = queue.broker_has_until_ns();
        }
        save();
        if (!told_away && Clock::now() - *away_since >= kAwayTold) {
            tell(fmt::format("the broker {} cannot be used ({}); what came since {} waits in the recording",
                             settings.access.place(), why, time_text(until_ns)));
            told_away = true;
        }
        std::unique_lock lock(mutex);
        changed.wait_for(lock, delay, [this] { return stop_at.has_value(); });
        delay = std::min<std::chrono::milliseconds>(delay * 2, kRetryMost);
    }
    save();
    const std::lock_guard lock(mutex);
    queue.let_go();
    finished = true;
    changed.notify_all();
}

Publisher::Publisher(PublishSettings settings, std::function<void(PublishReport)> report)
    : shared_(std::make_shared<Shared>(std::move(settings), std::move(report))),
      thread_([shared = shared_] { shared->run(); }) {}

Publisher::~Publisher() {
    stop({});
}

void Publisher::begins(const std::string& recording) {
    const std::lock_guard lock(shared_->mutex);
    shared_->queue.begins(recording);
    if (const auto saved = shared_->queue.save(); !saved) spdlog::warn("Publishing: {}", saved.error().message);
}

void Publisher::let_go() {
    const std::lock_guard lock(shared_->mutex);
    shared_->queue.let_go();
}

void Publisher::stop(std::chrono::milliseconds patience) {
    if (!thread_.joinable()) return;
    constexpr auto kGoodbye = 500ms; // that a thread needs which is not stuck
    std::unique_lock lock(shared_->mutex);
    shared_->stop_at = Clock::now() + patience;
    shared_->changed.notify_all();
    shared_->changed.wait_for(lock, patience + kGoodbye, [this] { return shared_->finished; });
    shared_->over = true;
    const bool finished = shared_->finished;
    lock.unlock();
    if (finished)
        thread_.join();
    else
        thread_.detach(); // it is looking for the broker, and touches nothing but its own
}

} // namespace turnstone
