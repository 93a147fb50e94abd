package fascicle.server;

import ca.uhn.fhir.batch2.jobs.config.Batch2JobsConfig;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.ThreadPoolFactoryConfig;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.batch2.JpaBatch2Config;
import ca.uhn.fhir.jpa.binary.api.IBinaryStorageSvc;
import ca.uhn.fhir.jpa.binstore.DatabaseBinaryContentStorageSvcImpl;
import ca.uhn.fhir.jpa.config.HapiJpaConfig;
import ca.uhn.fhir.jpa.config.r4.JpaR4Config;
import ca.uhn.fhir.jpa.config.util.HapiEntityManagerFactoryUtil;
import ca.uhn.fhir.jpa.model.config.PartitionSettings;
import ca.uhn.fhir.jpa.model.config.SubscriptionSettings;
import ca.uhn.fhir.jpa.model.dialect.HapiFhirH2Dialect;
import ca.uhn.fhir.jpa.provider.JpaCapabilityStatementProvider;
import ca.uhn.fhir.jpa.provider.JpaSystemProvider;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.jpa.subscription.channel.config.SubscriptionChannelConfig;
import ca.uhn.fhir.parser.StrictErrorHandler;
import ca.uhn.fhir.rest.api.EncodingEnum;
import ca.uhn.fhir.rest.server.ETagSupportEnum;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.interceptor.RequestValidatingInterceptor;
import ca.uhn.fhir.rest.server.provider.ResourceProviderFactory;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import ca.uhn.fhir.validation.IValidatorModule;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import jakarta.persistence.EntityManagerFactory;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.util.Properties;
import javax.sql.DataSource;
import org.apache.commons.dbcp2.BasicDataSource;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.springframework.beans.factory.config.ConfigurableListableBeanFactory;
import org.springframework.context.annotation.AnnotationConfigApplicationContext;
import org.springframework.context.annotation.Bean;
import org.springframework.context.annotation.Configuration;
import org.springframework.context.annotation.Import;
import org.springframework.context.annotation.Primary;
import org.springframework.orm.jpa.JpaTransactionManager;
import org.springframework.orm.jpa.LocalContainerEntityManagerFactoryBean;

/**
 * A general-purpose FHIR R4 server on loopback.
 *
 * <p>Options: {@code --port N} (0 takes a free one), {@code --port-file FILE} (the port is written
 * there once the server answers), {@code --database DIR} (an H2 file there instead of memory),
 * {@code --validate} (every incoming resource is judged by the reference validation engine).
 */
public final class RecordServer {

    private static String databaseUrl = "jdbc:h2:mem:record;DB_CLOSE_DELAY=-1";

    private RecordServer() {}

    /** The beans that the JPA library leaves to its user. */
    @Configuration
    @Import({
        JpaR4Config.class,
        HapiJpaConfig.class,
        JpaBatch2Config.class,
        Batch2JobsConfig.class,
        SubscriptionChannelConfig.class,
        ThreadPoolFactoryConfig.class
    })
    public static class Beans {

        @Bean
        public JpaStorageSettings storageSettings() {
            JpaStorageSettings settings = new JpaStorageSettings();
            settings.setReuseCachedSearchResultsForMillis(null);
            settings.setHibernateSearchIndexFullText(false);
            settings.setHibernateSearchIndexSearchParams(false);
            settings.setStoreResourceInHSearchIndex(false);
            return settings;
        }

        @Bean
        public PartitionSettings partitionSettings() {
            return new PartitionSettings();
        }

        @Bean
        public SubscriptionSettings subscriptionSettings() {
            return new SubscriptionSettings();
        }

        @Bean
        public IBinaryStorageSvc binaryStorage() {
            return new DatabaseBinaryContentStorageSvcImpl();
        }

        @Bean(destroyMethod = "close")
        public DataSource dataSource() {
            BasicDataSource pool = new BasicDataSource();
            pool.setDriverClassName("org.h2.Driver");
            pool.setUrl(databaseUrl);
            pool.setUsername("sa");
            pool.setPassword("");
            pool.setMaxTotal(32);
            return pool;
        }

        @Bean
        public LocalContainerEntityManagerFactoryBean entityManagerFactory(
                ConfigurableListableBeanFactory beans,
                FhirContext fhir,
                JpaStorageSettings settings,
                DataSource dataSource) {
            LocalContainerEntityManagerFactoryBean factory =
                    HapiEntityManagerFactoryUtil.newEntityManagerFactory(beans, fhir, settings);
            factory.setPersistenceUnitName("record");
            factory.setDataSource(dataSource);
            Properties properties = new Properties();
            properties.put("hibernate.dialect", HapiFhirH2Dialect.class.getName());
            properties.put("hibernate.hbm2ddl.auto", "update");
            properties.put("hibernate.jdbc.batch_size", "30");
            properties.put("hibernate.cache.use_query_cache", "false");
            properties.put("hibernate.cache.use_second_level_cache", "false");
            properties.put("hibernate.search.enabled", "false");
            factory.setJpaProperties(properties);
            return factory;
        }

        @Bean
        @Primary
        public JpaTransactionManager transactionManager(EntityManagerFactory factory) {
            return new JpaTransactionManager(factory);
        }
    }

    public static void main(String[] args) throws Exception {
        int port = 0;
        Path portFile = null;
        boolean validate = false;
        for (int i = 0; i < args.length; i++) {
            switch (args[i]) {
                case "--port" -> port = Integer.parseInt(args[++i]);
                case "--port-file" -> portFile = Path.of(args[++i]);
                case "--database" -> {
                    Path dir = Path.of(args[++i]).toAbsolutePath();
                    Files.createDirectories(dir);
                    databaseUrl = "jdbc:h2:file:" + dir.resolve("record") + ";DB_CLOSE_ON_EXIT=FALSE";
                }
                case "--validate" -> validate = true;
                default -> throw new IllegalArgumentException("unknown option " + args[i]);
            }
        }

        AnnotationConfigApplicationContext beans = new AnnotationConfigApplicationContext(Beans.class);
        FhirContext fhir = beans.getBean(FhirContext.class);
        fhir.setParserErrorHandler(new StrictErrorHandler());

        RestfulServer rest = restfulServer(beans, fhir, validate);
        Server server = new Server();
        ServerConnector connector = new ServerConnector(server);
        connector.setHost("127.0.0.1");
        connector.setPort(port);
        server.addConnector(connector);
        ServletContextHandler handler = new ServletContextHandler();
        handler.setContextPath("/");
        ServletHolder holder = new ServletHolder(rest);
        holder.setInitOrder(1);
        handler.addServlet(holder, "/fhir/*");
        server.setHandler(handler);
        server.setStopAtShutdown(true);
        Runtime.getRuntime().addShutdownHook(new Thread(beans::close));
        server.start();
        System.out.println("PORT=" + connector.getLocalPort());
        System.out.flush();
        if (portFile != null) {
            writePort(portFile, connector.getLocalPort());
        }
        server.join();
    }

    @SuppressWarnings("unchecked")
    private static RestfulServer restfulServer(
            AnnotationConfigApplicationContext beans, FhirContext fhir, boolean validate) {
        RestfulServer rest = new RestfulServer(fhir);
        rest.registerProviders(
                beans.getBean("myResourceProvidersR4", ResourceProviderFactory.class).createProviders());
        rest.registerProvider(beans.getBean(JpaSystemProvider.class));
        JpaCapabilityStatementProvider statement =
                new JpaCapabilityStatementProvider(
                        rest,
                        beans.getBean(IFhirSystemDao.class),
                        beans.getBean(JpaStorageSettings.class),
                        beans.getBean(ISearchParamRegistry.class),
                        beans.getBean(IValidationSupport.class));
        statement.setImplementationDescription("General-purpose record server for end-to-end tests");
        rest.setServerConformanceProvider(statement);
        rest.setPagingProvider(beans.getBean(DatabaseBackedPagingProvider.class));
        rest.setDefaultResponseEncoding(EncodingEnum.JSON);
        rest.setETagSupport(ETagSupportEnum.ENABLED);
        if (validate) {
            RequestValidatingInterceptor interceptor = new RequestValidatingInterceptor();
            interceptor.addValidatorModule(beans.getBean(IValidatorModule.class));
            interceptor.setFailOnSeverity(ResultSeverityEnum.ERROR);
            interceptor.setAddResponseHeaderOnSeverity(null);
            rest.registerInterceptor(interceptor);
        }
        return rest;
    }

    private static void writePort(Path file, int port) throws IOException {
        Path part = file.resolveSibling(file.getFileName() + ".part");
        Files.writeString(part, port + "\n");
        Files.move(part, file, StandardCopyOption.ATOMIC_MOVE, StandardCopyOption.REPLACE_EXISTING);
    }
}
