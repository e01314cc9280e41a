#pragma once
/// The thread that reads the links, and does nothing else: it numbers each input, hands it to the recorder, then to the
/// interpreter. Nothing it does waits for either.
#include <atomic>
#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "server/ingest/backlog_watch.hpp"
#include "server/ingest/input_queue.hpp"
#include "server/ingest/recent_inputs.hpp"
#include "server/link/link.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/resumable.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

class Reception {
  public:
    /// `uris[i]` is setup->links[i]. `needs_since_ns`: see Interpreter. All must outlive it.
    Reception(std::shared_ptr<const PipelineSetup> setup, std::shared_ptr<const Schema> schema,
              std::vector<LinkUri> uris, Recorder& recorder, InputQueue& queue,
              std::function<std::int64_t()> needs_since_ns);
    ~Reception();
    Reception(const Reception&) = delete;
    Reception& operator=(const Reception&) = delete;

    /// Begins the first recording with `actions` as its first inputs, or goes on in `resumable`; opens the links;
    /// starts the thread.
    void start(const std::vector<Action>& actions, const std::optional<Resumable>& resumable);
    /// Closes the links and ends the thread. Safe to call twice.
    void stop();

    // From any thread; done on this one, in the order called. See Ingest.
    void action(Action action, OwedReceipt receipt);
    void new_recording(std::string name, OwedReceipt receipt);
    void set_meta(std::string key, std::string value, OwedReceipt receipt);

    /// From any thread.
    [[nodiscard]] std::vector<LinkView> links() const;

  private:
    struct Slot {
        LinkView view;
        std::shared_ptr<Link> link;
    };
    /// What somebody asked for.
    struct Asked {
        Action action;
        OwedReceipt receipt;
    };
    LinkHandler handler(std::size_t i);
    void received(std::size_t i, std::int64_t t_rx_ns, std::span<const std::byte> bytes);
    void report(const Slot& slot, std::int64_t t_ns);
    void act(std::int64_t t_ns, const Action& action, OwedReceipt receipt = {});
    void take_held();
    std::shared_ptr<const Inputs> hand_over(Inputs inputs, std::int64_t t_ns, OwedReceipt receipt = {});
    void begin(const std::string& name, const std::string& continues, const Past& past, OwedReceipt receipt = {});
    void resume(const Resumable& resumable);
    [[nodiscard]] LiveTape tape_of(const RecordingHead& head) const;
    void ask_for_past(const std::string& name, const std::string& continues, OwedReceipt receipt = {});
    void wait_for_tick();
    void tick();
    void watch_recorder(std::int64_t now_ns);
    void run();
    void publish_views();
    [[nodiscard]] std::int64_t utc_of(std::int64_t t_ns) const;
    [[nodiscard]] bool may_read() const;

    // Constant after construction.
    const std::shared_ptr<const PipelineSetup> setup_;
    const std::shared_ptr<const Schema> schema_;
    Recorder& recorder_;
    InputQueue& queue_;
    const std::function<std::int64_t()> needs_since_ns_;

    // Of the thread.
    boost::asio::io_context context_{1};
    boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_{context_.get_executor()};
    boost::asio::steady_timer timer_{context_};
    std::vector<Slot> slots_;
    std::unique_ptr<InputCounter> counter_; ///< of the recording under way
    RecentInputs recent_;
    BacklogWatch backlog_;
    std::string recording_id_;
    std::uint64_t recording_bytes_ = 0;               ///< handed to the recorder for it
    RecorderTrouble trouble_ = RecorderTrouble::none; ///< reported on this tape
    std::int64_t utc_minus_station_ns_ = 0;
    bool catching_up_ = false;    ///< the interpreter is busy with a recording that goes on
    bool replacing_lost_ = false; ///< the interpreter has been asked for what the new recording needs
    int asked_for_ = 0;           ///< new recordings that have not begun
    std::deque<Asked> held_;      ///< until they have
    bool finished_ = false;

    // Shared.
    mutable std::mutex mutex_;
    std::vector<LinkView> published_;

    std::thread thread_;
};

} // namespace turnstone
