#pragma once
/// Publishes what this station receives to a broker (protocol/BROKER.md), on a thread of its own. It reads the
/// recordings, and nothing waits for it: what is recorded within a tenth of a second is with the broker soon after, or
/// whenever there is a way to it again.
#include <chrono>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "server/broker/access.hpp"
#include "server/link/link_uri.hpp"
#include "server/pipeline/action.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

struct PublishSettings {
    BrokerAccess access;
    std::string station; ///< as it is called in topics
    std::filesystem::path recordings;
    std::shared_ptr<const PipelineSetup> setup;
    std::vector<LinkUri> uris; ///< as setup->links
};

class Publisher {
  public:
    /// `report`: called on the publisher's thread when something is wrong, and when it is over.
    Publisher(PublishSettings settings, std::function<void(PublishReport)> report);
    ~Publisher();
    Publisher(const Publisher&) = delete;
    Publisher& operator=(const Publisher&) = delete;

    /// From any thread: this recording is live from now on.
    void begins(const std::string& recording);
    /// From any thread: no file is held open when it returns.
    void let_go();
    /// Publishes what is recorded, as long as patience lasts and there is a way to the broker. No report comes after
    /// it. Safe to call twice.
    void stop(std::chrono::milliseconds patience);

  private:
    struct Shared;
    std::shared_ptr<Shared> shared_; ///< with the thread, which may be stuck in a look-up of the broker's name
    std::thread thread_;
};

/// The retained description of BROKER.md.
[[nodiscard]] std::string station_json(const PublishSettings& settings);

} // namespace turnstone
