#include "server/commands/ingest.hpp"

#include <algorithm>
#include <mutex>
#include <thread>
#include <utility>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <spdlog/spdlog.h>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// A batch this large goes out at once: a capture read at full speed must not become one huge batch.
constexpr std::size_t kBatchBytesMax = 1u << 20;
/// A capture read at full speed pauses while this much waits for the disk.
constexpr std::size_t kRecorderBacklogBytes = 8u << 20;
constexpr std::int64_t kRecorderPollNs = kNsPerS;

} // namespace

struct Ingest::State {
    struct Slot {
        LinkView view;
        std::shared_ptr<Link> link;
    };

    State(std::shared_ptr<const PipelineSetup> given_setup, std::vector<LinkUri> given_uris, Recorder& given_recorder,
          IngestOutputs given_outputs)
        : setup(std::move(given_setup)), recorder(given_recorder), outputs(std::move(given_outputs)) {
        for (const LinkSetup& link : setup->links) {
            LinkView view;
            view.name = link.name;
            slots.push_back({std::move(view), nullptr});
        }
        for (std::size_t i = 0; i < given_uris.size(); ++i)
            slots[i].link = make_link(context, given_uris[i], handler(i));
        published = views();
    }

    LinkHandler handler(std::size_t i) {
        return {[this, i](std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes) {
                    slots[i].view.bytes += bytes.size();
                    slots[i].view.t_last_ns = t_rx_ns;
                    guarded(
                        "bytes", [&] { pipeline->chunk(static_cast<LinkId>(i), t_rx_ns, utc_rx_ns, bytes, *batch); });
                    if (batch->bytes.size() >= kBatchBytesMax) hand_over();
                },
                [this, i](std::int64_t t_ns, LinkState state, const std::string& detail) {
                    slots[i].view.state = state;
                    slots[i].view.detail = detail;
                    report(t_ns, slots[i].view);
                },
                [this] { return recorder_has_room; }};
    }

    /// An input that trips a defect must cost that input, not the thread. The pipeline stores a chunk before it
    /// interprets it.
    template <class Work>
    void guarded(const char* what, Work&& task) {
        try {
            task();
        } catch (const std::exception& error) {
            if (failures++ < 10)
                spdlog::critical("Ingest could not handle {} ({}); it continues with the next", what, error.what());
        }
    }

    void report(std::int64_t t_ns, const LinkView& view) { act(t_ns, LinkReport{view.name, view.state, view.detail}); }

    void act(std::int64_t t_ns, const Action& action) {
        guarded(
            "an action", [&] { pipeline->action(t_ns, action, *batch); });
    }

    void hand_over() {
        if (batch->empty()) return;
        for (const Event& event : batch->events)
            if (event.kind == EventKind::link_state) spdlog::info("{}", event.text);
        const std::shared_ptr<const Batch> full = std::exchange(batch, std::make_shared<Batch>());
        recorder.push(full);
        outputs.on_batch(full);
    }

    void flush() {
        const std::int64_t now_ns = station_now_ns();
        guarded("a tick", [&] { pipeline->advance(now_ns, *batch); });
        watch_recorder(now_ns);
        hand_over();
        const std::lock_guard lock(mutex);
        published = views();
    }

    /// Everyone sees a recording fault, and it goes into the recording once that can be written again.
    void watch_recorder(std::int64_t now_ns) {
        if (now_ns < next_poll_ns && recorder_has_room) return;
        const RecorderStatus status = recorder.status();
        recorder_has_room = status.queue_bytes < kRecorderBacklogBytes;
        if (now_ns < next_poll_ns) return;
        next_poll_ns = now_ns + kRecorderPollNs;
        // The sentence may hold figures that change every second; only whether there is one counts.
        if (status.fault.empty() != fault.empty()) {
            fault = status.fault;
            if (fault.empty())
                spdlog::info("Recording restored");
            else
                spdlog::error("Recording fault: {}", fault);
            act(now_ns, RecorderReport{fault});
        }
    }

    /// The first recording begins with `actions`, a later one with what the one before hands on.
    void begin_recording(const std::string& name, const std::vector<Action>& actions = {}) {
        const std::int64_t t_start_ns = station_now_ns();
        const std::int64_t utc_start_ns = utc_now_ns();
        auto next = std::make_unique<Pipeline>(*setup, t_start_ns);
        if (pipeline != nullptr && outputs.on_closing) outputs.on_closing();
        LiveTape tape;
        tape.id = recorder.begin(next->schema(), t_start_ns, utc_start_ns, name);
        tape.name = name;
        tape.t_start_ns = t_start_ns;
        tape.utc_start_ns = utc_start_ns;
        tape.schema = std::make_shared<const Schema>(next->schema());
        tape.setup = setup;
        spdlog::info("Recording {}", tape.id);
        outputs.on_tape(std::move(tape));
        const std::unique_ptr<Pipeline> before = std::exchange(pipeline, std::move(next));
        for (const Action& action : before == nullptr ? actions : before->carried_actions()) act(t_start_ns, action);
        if (before == nullptr) return;
        for (std::size_t i = 0; i < slots.size(); ++i) {
            report(t_start_ns, slots[i].view);
            const auto pending = before->pending(static_cast<LinkId>(i));
            if (!pending.empty()) {
                guarded(
                    "carried bytes",
                    [&] { pipeline->chunk(static_cast<LinkId>(i), t_start_ns, utc_start_ns, pending, *batch, true); });
            }
        }
    }

    void wait_for_flush() {
        timer.async_wait([this](const boost::system::error_code& error) {
            // Cancelling does not reach a handler that is already queued.
            if (error || finished) return;
            flush();
            // After a stall the missed flushes are skipped: one flush carries everything anyway.
            timer.expires_at(std::max(timer.expiry() + kFlushInterval, std::chrono::steady_clock::now()));
            wait_for_flush();
        });
    }

    void run() {
        timer.expires_after(kFlushInterval);
        wait_for_flush();
        for (Slot& slot : slots) slot.link->start();
        context.run();
    }

    void finish() {
        for (Slot& slot : slots) slot.link->stop();
        finished = true;
        timer.cancel();
        flush();
        work.reset();
    }

    [[nodiscard]] std::vector<LinkView> views() const {
        std::vector<LinkView> out;
        out.reserve(slots.size());
        for (const Slot& slot : slots) out.push_back(slot.view);
        return out;
    }

    // Constant after construction.
    std::shared_ptr<const PipelineSetup> setup;
    Recorder& recorder;
    IngestOutputs outputs;

    // Ingest thread only.
    boost::asio::io_context context{1};
    boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work{context.get_executor()};
    boost::asio::steady_timer timer{context};
    std::vector<Slot> slots;
    std::unique_ptr<Pipeline> pipeline;
    std::shared_ptr<Batch> batch = std::make_shared<Batch>();
    std::string fault;
    std::int64_t next_poll_ns = 0;
    bool recorder_has_room = true;
    bool finished = false;
    std::uint64_t failures = 0;

    // Shared.
    mutable std::mutex mutex;
    std::vector<LinkView> published;

    std::thread thread;
};

Ingest::Ingest(std::shared_ptr<const PipelineSetup> setup, std::vector<LinkUri> uris, Recorder& recorder,
               IngestOutputs outputs)
    : state_(std::make_unique<State>(std::move(setup), std::move(uris), recorder, std::move(outputs))) {}

Ingest::~Ingest() {
    stop();
}

void Ingest::start(const std::vector<Action>& actions) {
    state_->begin_recording("", actions);
    state_->thread = std::thread([state = state_.get()] { state->run(); });
}

void Ingest::stop() {
    if (state_->thread.joinable()) {
        boost::asio::post(state_->context, [state = state_.get()] { state->finish(); });
        state_->thread.join();
    }
}

void Ingest::action(Action action) {
    boost::asio::post(
        state_->context, [state = state_.get(), what = std::move(action)] { state->act(station_now_ns(), what); });
}

void Ingest::new_recording(std::string name) {
    boost::asio::post(
        state_->context,
        [state = state_.get(), text = std::move(name)] {
            state->flush();
            state->guarded(
                "a new recording", [&] { state->begin_recording(text); });
        });
}

void Ingest::set_meta(std::string key, std::string value) {
    boost::asio::post(
        state_->context, [state = state_.get(), name = std::move(key),
                          text = std::move(value)] { state->recorder.set_meta(name, text); });
}

std::vector<LinkView> Ingest::links() const {
    const std::lock_guard lock(state_->mutex);
    return state_->published;
}

} // namespace turnstone
