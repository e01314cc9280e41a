// Builds and joins the parts of a running server, and takes them apart again in an order that keeps every byte:
//
//   1. links close, and the ingest thread hands over what is left    (no new data)
//   2. the recorder commits everything it was given                  (data safe)
//   3. the broker gets what it can, viewers are closed, readers of the live file let go
//   4. the recorder closes the recording into one file
//
// A second signal, or kShutdownDeadline, ends the process at once. After step 2 nothing can be lost by that, before it
// no more than a killed process loses.

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <functional>
#include <list>
#include <thread>

#include <unistd.h>

#include <spdlog/spdlog.h>

#include "server/commands/operator_key.hpp"
#include "server/commands/subcommands.hpp"
#include "server/ingest/capture_link.hpp"
#include "server/ingest/ingest.hpp"
#include "server/ingest/prediction_thread.hpp"
#include "server/live_out/live_out.hpp"
#include "server/publish/publisher.hpp"
#include "server/record/disk_watch.hpp"
#include "server/record/read/engine_totals.hpp"
#include "server/record/read/past_procedures.hpp"
#include "server/record/recordable.hpp"
#include "server/record/resumable.hpp"
#include "server/record/upkeep.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/join_code.hpp"
#include "server/serve/map/site_map.hpp"
#include "server/serve/port/server.hpp"
#include "server/serve/workers.hpp"
#include "server/setup/serve_setup.hpp"

namespace turnstone {

namespace {

constexpr std::int64_t kFinalFlushMs = 5000;
constexpr std::chrono::milliseconds kPublishPatience{2000};
constexpr std::chrono::seconds kSessionsDeadline{2};
constexpr std::chrono::seconds kShutdownDeadline{15};
static_assert(Workers::kNicenessOfJobs > PredictionThread::kNiceness, "a debrief is in nobody's way");

/// The signals that end the server, blocked in every thread and taken in one place. Construct
/// before the first thread: threads inherit the mask.
class StopSignals {
  public:
    StopSignals() {
        sigemptyset(&set_);
        for (const int number : {SIGINT, SIGTERM, SIGHUP}) {
            sigaddset(&set_, number);
            // A shell starts background jobs with SIGINT ignored, and an ignored signal is never pending.
            struct sigaction action {};
            action.sa_handler = [](int) {};
            sigaction(number, &action, nullptr);
        }
        pthread_sigmask(SIG_BLOCK, &set_, nullptr);
        struct sigaction ignore {};
        ignore.sa_handler = SIG_IGN;
        sigaction(SIGPIPE, &ignore, nullptr);
    }

    /// Until one comes, or until `ended`, asked ten times a second, says so.
    void wait(const std::function<bool()>& ended) const {
        const timespec step{.tv_sec = 0, .tv_nsec = 100'000'000};
        int number = -1;
        while (number < 0 && !ended()) number = sigtimedwait(&set_, nullptr, &step);
        if (number > 0) spdlog::info("{}: stopping; a second signal stops at once", strsignal(number));
    }

    /// Ends the process at the next signal or at the deadline, whichever comes first.
    void watch_shutdown() const {
        std::thread([set = set_] {
            timespec limit{};
            limit.tv_sec = kShutdownDeadline.count();
            const int number = sigtimedwait(&set, nullptr, &limit);
            spdlog::critical(number > 0 ? "Stopped at once; the recording will be repaired at the next start"
                                        : "Could not stop in time; the recording will be repaired at the next start");
            std::_Exit(number > 0 ? 128 + number : 1);
        }).detach();
    }

  private:
    sigset_t set_{};
};

struct OperatorKey {
    std::string key;
    std::filesystem::path kept_in; ///< empty: nowhere
    bool is_made = false;          ///< for this run: nobody chose or kept it
};

/// A file that cannot be used does not keep a station from recording.
OperatorKey operator_key(const Settings& settings) {
    if (!settings.operator_key.empty()) return {settings.operator_key, {}};
    if (settings.operator_key_file.empty()) return {random_key(), {}, true};
    const auto kept = kept_operator_key(settings.operator_key_file);
    if (kept) return {*kept, settings.operator_key_file};
    spdlog::warn("{}. Until the server stops it has a key of its own", kept.error().message);
    return {random_key(), {}, true};
}

void greet(const Server& server, const OperatorKey& operator_key, std::ostream& out) {
    // A journal is read by more people than a terminal or a file of its owner.
    const bool in_file_only = !operator_key.kept_in.empty() && ::isatty(STDOUT_FILENO) == 0;
    out << "Turnstone " TURNSTONE_VERSION " is listening on";
    for (const std::string& address : server.addresses()) out << " " << address;
    out << "\n"
        << (server.is_loopback_only() ? "Only this machine can reach it; --share opens it to the local network.\n"
                                      : "Others can watch; changing anything needs the operator key.\n")
        << "operator key: " << (in_file_only ? "the one line of " + operator_key.kept_in.string() : operator_key.key)
        << "\n"
        << "Turnstone only receives: it cannot command, arm or fire anything.\n";
    if (!server.certificate_fingerprint().empty())
        out << "https: before you trust it, compare the certificate's SHA-256 fingerprint with\n  "
            << server.certificate_fingerprint() << "\n";
    const std::vector<std::string> addresses = server.addresses();
    const auto shared = std::ranges::find_if(addresses, [](const std::string& address) {
        return address.starts_with("http:") && !address.starts_with("http://127.");
    });
    if (!server.is_loopback_only() && ::isatty(STDOUT_FILENO) != 0 && shared != addresses.end())
        out << "Phones on this network scan the code, or open " << join_link(*shared) << "\n"
            << qr_terminal(join_link(*shared));
    out << std::flush;
}

/// A key that is made at each start says nothing of who may act: its sessions go on with the recording that was cut
/// short, and end with it.
std::string session_mark(const OperatorKey& operator_key) {
    return operator_key.is_made ? "made" : hashed_key("of operators' sessions: " + operator_key.key);
}

ServeSettings serve_settings(const Settings& settings, const std::string& operator_key, std::span<const Asset> assets) {
    return {.listen_address = settings.bind_address(),
            .port = static_cast<std::uint16_t>(settings.port),
            .tls = settings.tls ? std::optional(ServeSettings::Tls{settings.tls_folder,
                                                                   static_cast<std::uint16_t>(settings.tls_port)})
                                : std::nullopt,
            .host_names = settings.host_names,
            .recordings = settings.recordings,
            .operator_key = operator_key,
            .assets = assets,
            .map = read_site_map(settings.site),
            .viewers_max = static_cast<std::size_t>(settings.viewers_max)};
}

RecorderSettings recorder_settings(const Settings& settings) {
    return {.directory = settings.recordings,
            .commit_interval_ms = settings.commit_interval_ms,
            .sync_every_commit = settings.sync_every_commit};
}

/// Until SIGINT, SIGTERM or SIGHUP, or with exit_at_end until every link has ended.
int serve(const Settings& settings, bool begin_new, ServeSetup setup, const std::vector<LiveTarget>& live_targets,
          std::span<const Asset> assets, std::ostream& out, std::ostream& errors) {
    const StopSignals signals;
    (void)station_now_ns(); // station time begins here

    const auto resumable = begin_new || reads_files(setup.uris)
                               ? std::nullopt
                               : find_resumable(settings.recordings, *setup.pipeline, utc_now_ns());
    std::vector<Action> past = engine_totals(settings.recordings, *setup.pipeline);
    for (Action& action : past_procedures(settings.recordings, *setup.pipeline)) past.push_back(std::move(action));
    const bool has_board = std::ranges::any_of(
        setup.pipeline->vehicles, [](const VehicleSetup& vehicle) { return vehicle.readiness.has_value(); });
    Upkeep upkeep(settings.recordings);
    // Later ones refer to earlier ones; the ingest thread and the serve thread refer to each other and start
    // last.
    Recorder recorder(recorder_settings(settings), *setup.pipeline,
                      [&upkeep](const std::filesystem::path& file) { upkeep.finish(file); });
    const OperatorKey unlocks = operator_key(settings);
    KeptSessions sessions(settings.recordings, session_mark(unlocks));
    std::unique_ptr<Server> server;
    std::unique_ptr<Publisher> publisher; // none: nothing is published
    std::list<LiveOut> live_out(live_targets.begin(), live_targets.end());
    const std::vector<LinkUri> uris = setup.uris;
    Ingest ingest(setup.pipeline, std::move(setup.uris), settings.recordings, recorder,
                  {[&](LiveTape tape) {
                       if (publisher) publisher->begins(tape.id);
                       for (LiveOut& out : live_out) out.begins(tape);
                       server->begin_recording(std::move(tape));
                   },
                   [&](std::shared_ptr<const Batch> batch) {
                       for (LiveOut& out : live_out) out.publish(batch);
                       server->publish(std::move(batch));
                   },
                   [&] {
                       if (publisher) publisher->let_go();
                       server->release_recordings();
                   }});
    ServeSettings server_settings = serve_settings(settings, unlocks.key, assets);
    if (!unlocks.is_made || resumable) server_settings.sessions.kept = sessions.read();
    server_settings.sessions.keep = [&sessions](std::string text) { sessions.put(std::move(text)); };
    for (const std::string& problem : server_settings.map.problems) spdlog::warn("Map: {}", problem);
    ServeSources sources;
    sources.station_now_ns = station_now_ns;
    sources.links = [&ingest] { return ingest.links(); };
    sources.recorder = [&recorder] { return recorder.status(); };
    OperatorActions actions;
    actions.action = [&ingest](Action action, OwedReceipt receipt) {
        ingest.action(std::move(action), std::move(receipt));
    };
    actions.new_recording = [&ingest](std::string name, OwedReceipt receipt) {
        ingest.new_recording(std::move(name), std::move(receipt));
    };
    actions.set_live_meta = [&ingest](std::string key, std::string value, OwedReceipt receipt) {
        ingest.set_meta(std::move(key), std::move(value), std::move(receipt));
    };
    server = std::make_unique<Server>(std::move(server_settings), std::move(sources), std::move(actions));

    if (const auto started = server->start(); !started) return fail_with(started.error(), errors);
    if (setup.publish_to)
        publisher = std::make_unique<Publisher>(PublishSettings{.access = *setup.publish_to,
                                                                .station = settings.publish_as,
                                                                .recordings = settings.recordings,
                                                                .setup = setup.pipeline,
                                                                .uris = uris},
                                                [&ingest](PublishReport report) { ingest.action(std::move(report)); });
    ingest.start(past, resumable);
    greet(*server, unlocks, out);

    DiskWatch disk;
    signals.wait([&] {
        sessions.write();
        if (const auto left_h = has_board ? disk.look(recorder.status(), station_now_ns()) : std::nullopt)
            ingest.action(StationFigure{.what = StationValue::disk_left_h, .value = *left_h});
        return settings.exit_at_end && ingest.ended() && recorder.status().queue_bytes == 0;
    });
    signals.watch_shutdown();
    ingest.stop();
    if (!recorder.flush(kFinalFlushMs)) spdlog::error("Not everything could be written: {}", recorder.status().fault);
    if (publisher) publisher->stop(kPublishPatience);
    live_out.clear();
    server->stop(kSessionsDeadline);
    sessions.write();
    const RecorderStatus status = recorder.status();
    const bool all_recorded = status.dropped.inputs == 0 && status.dropped.bytes == 0 && status.queue_bytes == 0;
    return all_recorded ? EXIT_SUCCESS : EXIT_FAILURE; // the recorder closes its file as it goes out of scope
}

std::vector<LiveTarget> live_targets(const Settings& settings, const PipelineSetup& setup,
                                     std::vector<Problem>& problems) {
    std::vector<LiveTarget> targets;
    const auto refuse = [&](const std::string& what, const std::string& do_this) {
        problems.push_back({"settings", "/live_out", what, do_this});
    };
    for (const std::string& text : settings.live_out) {
        if (text == kLiveToBroker) {
            const auto access = broker_of(settings);
            if (settings.publish_as.empty() || !access)
                refuse("broker needs one, and a name there", "set broker and publish_as");
            else
                targets.emplace_back(BrokerTarget{*access, settings.publish_as});
            continue;
        }
        const auto target = parse_udp_target(text);
        if (!target) {
            refuse(target.error().message, "for instance udp://127.0.0.1:10110");
            continue;
        }
        const auto is_meant = [&](const VehicleSetup& vehicle) {
            return vehicle.dictionary.vehicle == target->position_of;
        };
        if (!target->position_of.empty() && std::ranges::none_of(setup.vehicles, is_meant))
            refuse(text + " asks for a vehicle that is not there", "expected one of the vehicles that are served");
        else
            targets.emplace_back(*target);
    }
    return targets;
}

int run_serve(const Arguments& given, std::span<const Asset> assets, std::ostream& out, std::ostream& errors) {
    std::vector<Problem> problems;
    Settings settings;
    if (const std::string file = value_of(given, "--config"); !file.empty())
        read_settings_file(file, settings, problems);
    read_options(given, settings, problems);
    if (!problems.empty()) return fail_with(problems, errors);
    auto setup = read_setup(settings, problems);
    if (setup) {
        // A fault that would last must stop the start, not be tried again and again.
        if (const std::string why = why_not_recordable(*setup->pipeline); !why.empty())
            return fail_with(Error{"this setup cannot be recorded: " + why + "; turnstone check says where"}, errors);
    }
    if (!setup) return fail_with(problems, errors);
    const auto targets = live_targets(settings, *setup->pipeline, problems);
    if (!problems.empty()) return fail_with(problems, errors);
    return serve(settings, !value_of(given, "--new").empty(), std::move(*setup), targets, assets, out, errors);
}

} // namespace

Subcommand serve_subcommand(std::span<const Asset> assets) {
    Subcommand out{.name = "serve",
                   .help = "Receive, record, and show live in browsers",
                   .footer = "Example:\n  turnstone serve --vehicle my-rocket --site site.json "
                             "--link 'serial:/dev/ttyUSB0?baud=57600'\n\n" +
                             std::string(kSafety),
                   .arguments = {{.name = "--config",
                                  .value_name = "FILE",
                                  .help = "Settings file: JSON with comments. Options on the command line "
                                          "override it."},
                                 {.name = "--new",
                                  .help = "Begin a new recording. Without it, one that was cut short less than ten "
                                          "minutes ago goes on."}},
                   .run = [assets](const Arguments& given, std::ostream& results, std::ostream& errors) {
                       return run_serve(given, assets, results, errors);
                   }};
    for (const Setting& setting : settings_table()) {
        if (setting.option.empty()) continue;
        out.arguments.push_back({.name = std::string(setting.option),
                                 .value_name = std::string(setting.value_name),
                                 .help = option_help(setting),
                                 .repeats = setting.is_list()});
    }
    return out;
}

} // namespace turnstone
